# SPDX-License-Identifier: MIT
"""A log keeps records of any kind: a kind that exists here alone goes through every verb."""

import json
from datetime import UTC, datetime
from typing import Literal

import pytest
from pydantic import Field
from uuid6 import uuid7

from sagline import computing, kinds
from sagline.analysis.values import AnalysisError
from sagline.anyrecord import AnyRecord
from sagline.cli import main
from sagline.log.opening import LogError
from sagline.log.recomputing import recompute
from sagline.log.store import Log
from sagline.results import Conditions, Quantity, ResistanceAt, Result


class Slip(AnyRecord):
    """Two voltages on a slip of paper."""

    METHOD = "slip-1"

    schema_: Literal["slip-1"] = Field("slip-1", alias="schema")
    open_v: float
    loaded_v: float

    @property
    def rig_name(self):
        return "a slip"

    @property
    def load_ohm(self):
        return 10.0

    def about(self):
        return [("done", f"{self.open_v:g} V, then {self.loaded_v:g} V")]


def result_of_slip(slip, times_s):
    if times_s is not None:
        raise AnalysisError("no_times", "a slip has no times", "leave --times out")

    def bare(value):
        return {"value": value, "u": None, "dof": None, "k": None, "low95": None, "high95": None}

    r_ohm = ResistanceAt(**bare(10.0 * (slip.open_v / slip.loaded_v - 1.0)), t_s=None)
    return Result(
        schema="sagline-result-1", id=str(uuid7()), kind=slip.kind, measured_at=slip.started_at,
        label=slip.label, designation=None, operator=None, sagline=slip.sagline,
        method=Slip.METHOD, firmware=None, rig=None, calibration_id=None,
        emf_v=Quantity(**bare(slip.open_v)), r_ohm=r_ohm, r_ohmic_ohm=None,
        r_extrapolated_ohm=None, r_at=[r_ohm], line=None, load_ohm=None, current_a=None,
        short_circuit_a=None, max_power_w=None, repeats=[], rejected=0, budget=[],
        emf_budget=[], warnings=[],
        conditions=Conditions(temperature_c=None, rest_s=None, dvdt_v_per_s=None, on_s=None),
    )  # fmt: skip


@pytest.fixture
def slip(monkeypatch):
    monkeypatch.setitem(kinds.DOCUMENTS, "hand", Slip)
    monkeypatch.setitem(computing._WAYS, Slip, result_of_slip)
    return Slip(
        schema="slip-1", id=str(uuid7()), kind="hand", started_at=datetime.now(UTC), label="on paper",
        designation="LR6", operator=None, temperature_c=None, sagline="0", open_v=1.5,
        loaded_v=1.2,
    )  # fmt: skip


@pytest.fixture
def path(slip, tmp_path):
    path = tmp_path / "log.sqlite"
    with Log(path, write=True) as log:
        log.complete(slip, computing.result_of(slip))
        log.complete(slip)
    return path


@pytest.fixture
def log_(path, capsys):
    def run_(*arguments):
        status = main(["log", *arguments, "--log", str(path)])
        said = capsys.readouterr()
        return status, said.out + said.err

    return run_


def test_it_is_read_as_what_it_is(path, slip):
    with Log(path) as log:
        assert log.any_record(slip.id) == slip
        [result] = log.results(slip.id)
        assert result.r_ohm.value == pytest.approx(2.5)
        with pytest.raises(LogError) as caught:
            log.record(slip.id)
    assert caught.value.code == "no_run"


def test_it_is_listed_shown_labelled_and_deleted(log_, slip):
    _, out = log_("list")
    assert "2.5" in out and "on paper" in out
    status, out = log_("show", slip.id[-8:])
    assert status == 0
    assert "1.5 V, then 1.2 V" in out and "complete" in out
    status, out = log_("show", slip.id[-8:], "--json")
    assert json.loads(out)["record"] == slip.to_dict()
    assert json.loads(out)["state"] == "complete"
    assert log_("label", slip.id[-8:], "by heart")[0] == 0
    assert log_("delete", slip.id[-8:])[0] == 0
    assert "No run" in log_("list")[1]
    assert log_("restore", slip.id[-8:])[0] == 0
    assert "by heart" in log_("list")[1]


def test_it_is_exported_but_for_the_time_series_it_has_not(log_, slip):
    status, out = log_("export", slip.id[-8:], "--raw")
    assert (status, json.loads(out)) == (0, slip.to_dict())
    status, out = log_("export", slip.id[-8:])
    head, row = out.splitlines()
    fields = dict(zip(head.split(","), row.split(","), strict=True))
    assert (fields["kind"], fields["rig"], fields["load_ohm"]) == ("hand", "a slip", "10.0")
    status, out = log_("export", slip.id[-8:], "--csv")
    assert status == 4 and "time series" in out


def test_it_is_computed_again_by_its_own_method(path, slip, log_):
    status, out = log_("recompute", slip.id[-8:])
    assert status == 0 and "has a result of method slip-1" in out
    with Log(path, write=True) as log:
        with pytest.raises(AnalysisError, match="A slip has no times"):
            recompute(log, slip.id, [0.2])
        older = log.results(slip.id)[0].model_copy(update={"method": "slip-0", "id": str(uuid7())})
        log.begin(other := slip.model_copy(update={"id": str(uuid7())}))
        log.add_result(other.id, older)
        assert recompute(log, other.id).added


def test_it_is_merged(path, slip, tmp_path, capsys):
    into = tmp_path / "into.sqlite"
    for records in (1, 0):
        assert main(["log", "merge", str(path), "--log", str(into), "--json"]) == 0
        assert json.loads(capsys.readouterr().out)["records"] == records
    with Log(into) as log:
        assert log.any_record(slip.id) == slip


def test_a_kind_of_a_later_version_is_told(path, slip, log_, monkeypatch):
    monkeypatch.delitem(kinds.DOCUMENTS, "hand")
    status, out = log_("show", slip.id[-8:])
    assert status == 2 and "kind hand" in out and "newer sagline" in out
    assert log_("list")[0] == 0
