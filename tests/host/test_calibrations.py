# SPDX-License-Identifier: MIT
"""A calibration as a document, and from the opened rig into record and result."""

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from pydantic import ValidationError

import sagline
from bench.true_calibration import calibration_of, rig_of
from sagline.calibrations import DRIFT_PER_YEAR, Calibration
from sagline.cli import main
from sagline.computing import result_of
from sagline.device.procedure import run
from sagline.device.progress import Finished, Planned, RepeatDone
from sagline.device.settings import Settings
from sagline.errors import UsageError
from sagline.log.keeper import Keeper
from sagline.log.store import Log
from sagline.records import Record
from sagline.virtual.cells import CELLS
from sagline.virtual.truth import truth

ADDRESS = "virtual://lr6?seed=7&adc=ads1115"
MADE_AT = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


def calibration(address: str = ADDRESS, **settings) -> Calibration:
    parts, serial = rig_of(address)
    return calibration_of(
        parts, serial=serial, rng=np.random.default_rng(7), **{"made_at": MADE_AT, **settings}
    )


@pytest.fixture(scope="module")
def document() -> dict:
    return calibration().to_dict()


def test_a_calibration_comes_back_as_it_was(document):
    whole = Calibration.model_validate_json(json.dumps(document))
    assert whole.to_dict() == document
    assert Calibration.model_validate(document) == whole
    assert {scale.front_end for scale in whole.scales} == {"onboard", "ads1115", "ads1115+null"}


def test_the_schema_accepts_it_and_wants_every_key(document, capsys):
    assert main(["schema", "calibration"]) == 0
    alone = json.loads(capsys.readouterr().out)
    assert main(["schema"]) == 0
    either = json.loads(capsys.readouterr().out)
    for schema in (alone, either):
        Draft202012Validator.check_schema(schema)
        validator = Draft202012Validator(schema)
        assert list(validator.iter_errors(document)) == []
        for key in document:
            assert not validator.is_valid({k: v for k, v in document.items() if k != key}), key


BAD = [
    (("scales", 0, "k"), 0.0),
    (("scales", 0, "k"), "1.0"),
    (("scales", 0, "k"), float("nan")),
    (("scales", 0, "u_k_rel"), float("inf")),
    (("scales", 0, "u_k_rel"), -0.001),
    (("scales", 0, "dof"), 0.0),
    (("scales", 0, "load"), 0.5),
    (("scales", 0, "range_high"), 1),
    (("scales", 0, "front_end"), "ads1015"),
    (("offsets", 0, "channel"), "null"),
    (("offsets", 0, "u_codes"), -1.0),
    (("voltage_scales", 0, "factor"), -1.0),
    (("onboard_table", "residual_lsb"), -0.1),
    (("onboard_table", "code", 1), 0.0),
    (("onboard_table", "correction_lsb"), [0.0]),
    (("made_at",), "2026-03-01T12:00:00"),
    (("id",), "0f8fad5b-d9cb-469f-a165-70867728950e"),
    (("schema",), "sagline-calibration-2"),
    (("owner",), "somebody"),
]


@pytest.mark.parametrize(("path", "bad"), BAD)
def test_what_is_wrong_is_refused(document, path, bad):
    changed = json.loads(json.dumps(document))
    place = changed
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = bad
    with pytest.raises(ValidationError):
        Calibration.model_validate_json(json.dumps(changed))


@pytest.mark.parametrize("name", ["scales", "offsets", "voltage_scales"])
def test_nothing_is_said_twice(document, name):
    changed = {**document, name: [*document[name], document[name][0]]}
    with pytest.raises(ValidationError, match="given twice"):
        Calibration.model_validate(changed)


def test_age_adds_to_the_scales_and_nothing_at_once():
    known = calibration()
    key = (0, False, "ads1115")
    scale = next(s for s in known.scales if (s.load, s.range_high, s.front_end) == key)
    assert known.age_u_rel(MADE_AT) == 0.0
    new = known.at(MADE_AT).scales[key]
    assert (new.value, new.u) == (scale.k, pytest.approx(1e-3 * scale.k, rel=1e-12))
    year = MADE_AT + timedelta(days=365.25)
    assert known.age_u_rel(year) == pytest.approx(DRIFT_PER_YEAR)
    old = known.at(year).scales[key]
    assert old.u == pytest.approx(np.hypot(1e-3, DRIFT_PER_YEAR) * scale.k)
    volts = known.at(year).voltage_scales[1, False]
    assert volts.u == pytest.approx(np.hypot(5e-4, DRIFT_PER_YEAR) * volts.value)
    offset = known.at(year).offsets[1, 0, False]
    assert offset == known.at(MADE_AT).offsets[1, 0, False]


def half(figure):
    return 0.5 * (figure.high95 - figure.low95)


def test_a_calibrated_run_is_whole_in_its_record_and_named_in_its_result(tmp_path):
    known = calibration(made_at=datetime.now(UTC))
    path = tmp_path / "log.sqlite"
    with sagline.open_rig(ADDRESS, calibration=known) as rig:
        keeper = Keeper(path)
        items = list(keeper.keep(run(rig, Settings(designation="LR6", repeats=3))))
        assert rig.calibration == known
    planned = next(item for item in items if isinstance(item, Planned))
    finished = items[-1]
    assert isinstance(finished, Finished)
    result = finished.result
    assert result.calibration_id == known.id
    with Log(path) as log:
        record = log.record(planned.record.id)
    assert record.calibration == known
    again = result_of(Record.model_validate_json(record.model_dump_json(by_alias=True)))
    assert (again.r_ohm, again.emf_v, again.budget) == (result.r_ohm, result.emf_v, result.budget)
    done = [item for item in items if isinstance(item, RepeatDone)]
    assert done[-1].estimate.r_at[0][1].value == result.r_ohm.value, "news are of the same figures"
    plain = result_of(record.model_copy(update={"calibration": None}))
    assert plain.calibration_id is None
    codes = [[warning.code for warning in one.warnings] for one in (plain, result)]
    assert "uncalibrated" in codes[0] and "uncalibrated" not in codes[1]
    true = truth(CELLS["lr6"], 3.3)["truth"]
    assert half(result.r_ohm) < 0.5 * half(plain.r_ohm)
    assert half(result.emf_v) < 0.7 * half(plain.emf_v)
    assert result.r_ohm.low95 < true["r_at"][0]["value"] < result.r_ohm.high95
    assert result.emf_v.low95 < true["emf_v"] < result.emf_v.high95


def test_the_calibration_of_another_rig_is_refused():
    other = calibration("virtual://lr6?seed=8")
    with pytest.raises(UsageError) as caught:
        sagline.open_rig(ADDRESS, calibration=other)
    assert caught.value.code == "calibration_of_another_rig"
    assert "lr6-8" in caught.value.message and "lr6-7" in caught.value.message
    with sagline.open_rig(ADDRESS) as rig:
        with pytest.raises(UsageError):
            rig.calibration = other
        assert rig.calibration is None


def test_a_load_without_a_scale_falls_back_with_a_word():
    known = calibration(made_at=datetime.now(UTC))
    lacking = known.model_copy(update={"scales": [s for s in known.scales if s.load != 0]})
    figures = {}
    for name, given in (("plain", None), ("lacking", lacking)):
        with sagline.open_rig(ADDRESS, calibration=given) as rig:
            figures[name] = rig.measure(designation="LR6", repeats=3)
    said = {w.code: w.text for w in figures["lacking"].warnings}
    assert "3.3 Ω" in said["no_scale"] and "uncalibrated" not in said
    assert figures["lacking"].calibration_id == known.id
    # The resistor's tolerance is back; the offsets' has gone.
    wide = half(figures["lacking"].r_ohm) / half(figures["plain"].r_ohm)
    assert 0.9 < wide < 1.0


def test_an_on_board_run_with_its_table_is_far_nearer():
    address = "virtual://lr6?seed=5&adc=onboard&board=rp2040"
    true = truth(CELLS["lr6"], 3.3)["truth"]["r_at"][0]["value"]
    known = calibration(address, made_at=datetime.now(UTC), residual_lsb=0.3)
    with sagline.open_rig(address, calibration=known) as rig:
        found = rig.measure(designation="LR6", repeats=3)
    assert found.r_ohm.low95 < true < found.r_ohm.high95
    assert half(found.r_ohm) < 0.05 * true
    assert "onboard_linearity" not in [warning.code for warning in found.warnings]
