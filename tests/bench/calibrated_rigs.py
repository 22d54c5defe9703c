# SPDX-License-Identifier: MIT
"""Do calibrated rigs keep their word? Calibrated by hands, then measured with (simulated)

    python tests/bench/calibrated_rigs.py [--rigs 30] [--first 0] [--jobs 2] [--json]
        [--save FILE] [--read FILE ...]

Each rig, drawn by its number, is calibrated as a person would be guided to, by the virtual
hands: zeros, the scale of volts, the scale of one load in one range. Then a cell is measured on
that load, of the kind that calibrated it or of another. The added resistor is off by an error
drawn from the uncertainty that is stated of it; the board is at the temperature of its values
while it is calibrated, and at the one drawn for it when it measures. Nothing is told of the truth
to anybody; `true_calibration.py` is not used.

A row says how often the interval of r(0.1 s) held the truth, and its mean half-width beside that
of the same records without calibration (every fifth rig). `--save` adds every rig to a file, a
line of JSON each; `--read` takes the rigs from such files. Exit status 1 where the coverage of all
together is further from 95 % than three binomial standard deviations or 1 %, or where a
calibration was refused. The same for E of the cells whose voltage is not that of the calibrating
one: at the very codes that the voltmeter compared, the converter errs as it did then, and the
budget, which knows nothing of which errors are alike, says too much.
"""

import argparse
import json
import sys
import time
from collections import Counter
from contextlib import closing
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np

from bench.draws import BOARDS, FRONT_ENDS, Figure
from bench.nearrig import open_near
from bench.spread import spread
from bench.tally import LEVEL, OVERALL, SDS, Cover
from sagline.computing import result_of
from sagline.device import procedure
from sagline.device.calibrating import plan
from sagline.device.calibrating.answerers import ByHands
from sagline.device.calibrating.asking import Given
from sagline.device.calibrating.guide import Calibrated, StepRefused, calibrate
from sagline.device.progress import Finished, Planned, RepeatDone
from sagline.device.rig import Rig
from sagline.device.settings import Settings
from sagline.errors import SaglineError
from sagline.results import Result
from sagline.virtual.cells import CELLS
from sagline.virtual.circuit import Circuit
from sagline.virtual.parts import Parts
from sagline.virtual.truth import REFERENCE_TIME_S, truth
from sagline_board import profile

U_RESISTOR_REL = 3e-4
"""Standard uncertainty of the added resistor's value, relative: a four-wire meter's."""

ROWS = (
    ("scale-3.3-low", 3.3, ("lr6", "18650")),
    ("scale-68-high", 68.0, ("6lr61", "sla12")),
    ("scale-470-low", 470.0, ("cr2032", "lr6-worn")),
    ("scale-15-high", 15.0, ("sla12", "6lr61")),
)
"""The step, its load (ohm), and the two cells of which one is measured with it afterwards."""

ENDS = ("null", "ads1115")
BEFORE_EVERY = 5


@dataclass(frozen=True)
class Measured:
    """One cell measured with a calibrated rig: r(0.1 s) and E, and half of r's interval over r
    without the calibration, where that was worked out."""

    cell: str
    r: Figure | None
    emf: Figure | None
    before_rel: float | None
    limit: str
    refused: str | None = None


@dataclass(frozen=True)
class RigDone:
    """One rig: which row and front end, what was measured, processor seconds."""

    number: int
    step: str
    end: str
    measured: Measured | None
    cpu_s: float
    refused: str | None = None
    notices: tuple[str, ...] = ()

    @classmethod
    def from_dict(cls, saved: dict[str, Any]) -> "RigDone":
        """Return the rig that was saved."""
        measured = saved["measured"]
        if measured is not None:
            figures = {key: measured[key] and Figure(**measured[key]) for key in ("r", "emf")}
            measured = Measured(**{**measured, **figures})
        return cls(**{**saved, "measured": measured, "notices": tuple(saved["notices"])})


def one(number: int) -> RigDone:
    """Calibrate rig `number` and measure with it."""
    began = time.process_time()
    step, load_ohm, cells = ROWS[number % len(ROWS)]
    end = ENDS[number // len(ROWS) % len(ENDS)]
    turn = number // len(ROWS) // len(ENDS)
    board = BOARDS[turn % len(BOARDS)]
    cell = cells[turn // len(BOARDS) % len(cells)]
    address = f"virtual://lr6?seed={number}&board={board}&{FRONT_ENDS[end]}"
    done = partial(RigDone, number, step, end)
    rng = np.random.default_rng([number, len("resistor")])
    try:
        with open_near(address) as rig:
            _at_temperature(rig, -1.0)
            made = _calibrated(rig, step, float(rng.standard_normal()) * U_RESISTOR_REL)
            if made.calibration is None:
                return done(None, time.process_time() - began, "nothing found")
            rig.calibration = made.calibration
            _at_temperature(rig, 1.0)
            measured = _measured(rig, cell, load_ohm, turn % BEFORE_EVERY == 0)
    except SaglineError as error:
        return done(None, time.process_time() - began, error.code)
    codes = tuple(notice.code for notice in made.notices)
    return done(measured, time.process_time() - began, None, codes)


def _at_temperature(rig: Rig, sign: float) -> None:
    """Take the loads by the rig's drawn temperature up (1) from, or back (-1) to, that at which
    they have their values."""
    hardware = rig._link.port.hardware

    def change(circuit: Circuit) -> None:
        circuit.parts = _warmer(circuit.parts, sign)
        circuit.rewire(circuit.wiring)

    hardware.handle(change)


def _warmer(parts: Parts, sign: float) -> Parts:
    def factor(tcr_ppm_per_k: int) -> float:
        return (1.0 + tcr_ppm_per_k * 1e-6 * parts.temperature_offset_k) ** sign

    return replace(
        parts,
        load_ohm=tuple(
            ohm * factor(entry["tcr_ppm_per_k"])
            for ohm, entry in zip(parts.load_ohm, profile.LOADS, strict=True)
        ),
        switch_ohm=tuple(
            ohm * factor(entry["switch_tcr_ppm_per_k"])
            for ohm, entry in zip(parts.switch_ohm, profile.LOADS, strict=True)
        ),
    )


def _calibrated(rig: Rig, step: str, resistor_error_rel: float) -> Calibrated:
    which = "high" if step.endswith("high") else "low"
    steps = plan.find(rig.profile, ["zero", f"volts-{which}", step])
    (scale,) = (one for one in steps if one.kind == "scale")
    answer = ByHands(rig.hands(), resistor_error_rel)
    given = Given(u_ohm=scale.resistor_ohm * U_RESISTOR_REL)
    end = None
    for item in calibrate(rig, steps, answer, given):
        if isinstance(item, StepRefused):
            raise item.error
        if isinstance(item, Calibrated):
            end = item
    assert end is not None
    return end


def _measured(rig: Rig, name: str, load_ohm: float, before: bool) -> Measured:
    cell = CELLS[name]
    rig.hands().insert(name)
    settings = Settings(load_ohm=load_ohm, designation=cell.designation)
    try:
        result, without = _run(rig, settings, before)
    except SaglineError as error:
        return Measured(name, None, None, None, "", error.code)
    true = truth(cell, load_ohm)["truth"]
    (r_true,) = (item["value"] for item in true["r_at"] if item["t_s"] == REFERENCE_TIME_S)
    before_rel = None
    if without is not None and without.r_ohm.high95 is not None and without.r_ohm.low95 is not None:
        before_rel = 0.5 * (without.r_ohm.high95 - without.r_ohm.low95) / r_true
    return Measured(
        name,
        _figure(result.r_ohm, r_true),
        _figure(result.emf_v, true["emf_v"]),
        before_rel,
        result.budget[0].source,
    )


def _run(rig: Rig, settings: Settings, before: bool) -> tuple[Result, Result | None]:
    """The result, and that of the same record without calibration."""
    record, steps = None, []
    with closing(procedure.run(rig, settings)) as items:
        for item in items:
            if isinstance(item, Planned):
                record = item.record
            elif isinstance(item, RepeatDone):
                steps.append(item.step)
            elif isinstance(item, Finished):
                if not before or record is None:
                    return item.result, None
                bare = record.model_copy(update={"calibration": None})
                return item.result, result_of(bare.with_steps(steps, item.ending))
    raise AssertionError("a measurement ends with Finished or an error")


def _figure(quantity, true: float) -> Figure | None:
    if quantity.low95 is None:
        return None
    return Figure(quantity.value, quantity.u, quantity.low95, quantity.high95, true)


def _row(key: tuple[str, str, str], rigs: list[RigDone]) -> str:
    step, end, cell = key
    measured = [one for rig in rigs if (one := rig.measured) is not None and one.cell == cell]
    r, emf = (Cover.of([f for one in measured if (f := getattr(one, n))]) for n in ("r", "emf"))
    befores = [one.before_rel for one in measured if one.before_rel is not None]
    text = f"{step:<15} {end:<8} {cell:<9} {len(measured):>4} "
    for cover in (r, emf):
        if cover is None:
            text += "| - "
            continue
        text += (
            f"| {cover.share:>6.1%} U {cover.half_rel:>6.2%} z {cover.bias:+.2f} ± {cover.sd:.2f} "
        )
    if befores:
        text += f"| U before {np.mean(befores):.2%} "
    limit = Counter(one.limit for one in measured if one.limit).most_common(1)
    return text + (f"| {limit[0][0]}" if limit else "")


def main() -> int:
    """Run the study; print a row for each step, front end and cell."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--rigs", type=int, default=30)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--save", metavar="FILE")
    parser.add_argument("--read", metavar="FILE", nargs="+", help="calibrate nothing")
    args = parser.parse_args()
    if args.read:
        texts = [text for file in args.read for text in Path(file).read_text().splitlines()]
        done = [RigDone.from_dict(json.loads(text)) for text in texts]
    else:
        done = []
        for rig in spread(one, range(args.first, args.first + args.rigs), args.jobs):
            done.append(rig)
            if args.save:
                with open(args.save, "a") as file:
                    print(json.dumps(asdict(rig)), file=file)
    done = sorted({rig.number: rig for rig in done}.values(), key=lambda rig: rig.number)
    measured = [rig.measured for rig in done if rig.measured is not None]
    elsewhere = [one for one in measured if one.cell not in plan.VIRTUAL_NAMES.values()]
    covers = {
        name: Cover.of([figure for one in some if (figure := getattr(one, key)) is not None])
        for name, key, some in (("r(0.1 s)", "r", measured), ("E", "emf", elsewhere))
    }
    refused = Counter(rig.refused for rig in done if rig.refused)
    refused += Counter(one.refused for one in measured if one.refused)
    wrong = [f"refused: {count} × {code}" for code, count in refused.items()]
    for name, cover in covers.items():
        if cover is not None and abs(cover.share - LEVEL) > max(OVERALL, SDS * cover.share_sd):
            wrong.append(f"{name} covered in {cover.share:.1%} of {cover.n}: {cover.reading()}")
    if args.json:
        print(json.dumps([asdict(rig) for rig in done]))
        return 1 if wrong else 0
    cpu_s = sum(rig.cpu_s for rig in done) / len(done)
    print(f"simulated; {len(done)} rigs calibrated by hands; {cpu_s:.2f} s of processor each")
    print("step            end      cell         n | r(0.1 s) in, U, error/u | E in, U, error/u")
    for key in sorted({(rig.step, rig.end, rig.measured.cell) for rig in done if rig.measured}):
        print(_row(key, [rig for rig in done if (rig.step, rig.end) == key[:2]]))
    for name, cover in covers.items():
        if cover is not None:
            print(
                f"all, {name}: {cover.share:.1%} of {cover.n} (± {cover.share_sd:.1%}), "
                f"U {cover.half_rel:.2%}, error {cover.bias:+.2f} ± {cover.sd:.2f} u"
            )
    said = Counter(code for rig in done for code in rig.notices)
    for code, count in said.items():
        print(f"  notice: {count} × {code}")
    print("\n".join(wrong) or "all well", file=sys.stderr)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
