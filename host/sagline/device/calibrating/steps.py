# SPDX-License-Identifier: MIT
"""One step of a calibration: ask, record, find. Generators of Progress; closing one turns the
load off."""

from collections.abc import Generator, Iterator

from sagline.analysis import presence, stuck
from sagline.analysis.calibrated import Calibration, Known, Standard
from sagline.analysis.calibrating import fourwire, scales, voltscale, zeros
from sagline.analysis.calibrating.found import Findings
from sagline.analysis.calibrating.ramp import Piece
from sagline.analysis.calibrating.ramptable import table_of
from sagline.analysis.calibrating.scales import TapStep
from sagline.analysis.values import RawStep
from sagline.designations import Designation
from sagline.device import stepping
from sagline.device.balance import keep_balanced
from sagline.device.calibrating import prompts
from sagline.device.calibrating.asking import Given, ask
from sagline.device.calibrating.plan import VIRTUAL_NAMES, CalibrationStep
from sagline.device.calibrating.prompts import Answerer
from sagline.device.progress import Progress, Stepping
from sagline.device.ramp import Ramping, record_ramp
from sagline.device.rests import phase_ms
from sagline.device.rig import Rig
from sagline.errors import Refused, UsageError
from sagline_board import commands

RESISTOR_TOLERANCE = 1e-3
"""Of an added resistor of which nothing better is told: the limit of its value, relative."""

# Rest in the record, load on, recovery in which the cell is seen again.
STEP_MS = (1100, 200, 200)
# Rest before each step, beside what is recorded: ten times the pulse with it.
REST_S = 2.0
# After a cell was put in, until the null channel's filters have settled.
SETTLE_S = 3.0
RESTING_MS = 500
# A capacitor whose discharge takes some minutes, and what it is charged to: the low range's most,
# and in the 16.5 V range no more than the lowest codes need.
FARAD, CHARGED_V = 330e-6, {False: 4.5, True: 3.0}
ZERO_MS = (300, 300, 100)
ARMED_MS = (300, 40, 60)
# A reading without calibration may be off by this much of itself.
READING_LIMIT = 0.02


def zero(
    rig: Rig, step: CalibrationStep, answer: Answerer, known: Calibration | None, given: Given
) -> Generator[Progress, None, Findings]:
    """The codes at zero volts in both ranges. Raises Refused where a clip is not there."""
    answer(prompts.zero_volts())
    found: list[Findings] = []
    load = min(range(len(rig.profile.loads)), key=lambda k: rig.profile.loads[k].load_ohm)
    for high in (False, True):
        rig.set_range(high)
        rig.set_null(None)
        _require_no_cell(rig)
        raw = yield from stepping.step(rig, load, _pulse(load, ZERO_MS), 1 + high, 2)
        found.append(zeros.find(raw, rig.profile, known))
    answer(prompts.back())
    return Findings(tuple(entry for one in found for entry in one.found))


def volts(
    rig: Rig, step: CalibrationStep, answer: Answerer, known: Calibration | None, given: Given
) -> Generator[Progress, None, Findings]:
    """The scale of volts of one range. Raises Refused, UsageError for what is no voltage."""
    yield from look(rig, step)
    prompt = prompts.meter()
    read_v, digit_v = ask(prompt, answer)
    raw = yield from stepping.step(rig, 0, ((0, RESTING_MS),), 1, 1)
    meter = voltscale.read_by(read_v, digit_v, given.u_volts)
    return voltscale.find(raw, rig.profile, meter, known)


def scale(
    rig: Rig, step: CalibrationStep, answer: Answerer, known: Calibration | None, given: Given
) -> Generator[Progress, None, Findings]:
    """K of one load and range, every front end. Raises Refused, UsageError."""
    taken, resistor = yield from moved(rig, step, answer, given)
    return scales.find(taken, rig.profile, resistor, known)


def load(
    rig: Rig, step: CalibrationStep, answer: Answerer, known: Calibration | None, given: Given
) -> Generator[Progress, None, Findings]:
    """K of one load by its own ohms. Raises Refused, UsageError."""
    yield from ()
    if given.u_ohm is None:
        # Of a meter's resistance ranges there is no usual accuracy.
        raise UsageError(
            "no_u_ohm",
            "A load's own ohms are worth what is known of them.",
            "Give their standard uncertainty with --u-ohm, from the meter's data sheet.",
        )
    prompt = prompts.load(rig.profile.loads[step.load].load_ohm)
    ohm, _ = ask(prompt, answer)
    return fourwire.find(rig.profile, step.load, Known(ohm, given.u_ohm))


def table(
    rig: Rig, step: CalibrationStep, answer: Answerer, known: Calibration | None, given: Given
) -> Generator[Progress | Ramping, None, Findings]:
    """The on-board converter's linearity by three ramps. Raises Refused."""
    ramps: list[list[Piece]] = []
    for high in (False, False, True):
        answer(prompts.capacitor(FARAD, CHARGED_V[high]))
        ramps.append((yield from record_ramp(rig, high)))
    answer(prompts.no_capacitor())
    found = table_of(ramps, rig.profile)
    return Findings((), found.notices, found.table)


KINDS = {"table": table, "zero": zero, "volts": volts, "scale": scale, "load": load}


def moved(
    rig: Rig, step: CalibrationStep, answer: Answerer, given: Given
) -> Generator[Progress, None, tuple[list[TapStep], Known]]:
    """The steps with the tap on either side, A B B A, and the resistor."""
    yield from look(rig, step)
    ohm = step.resistor_ohm if given.resistor_ohm is None else given.resistor_ohm
    prompt = prompts.resistor(ohm, step.hint if ohm == step.resistor_ohm else "")
    value, _ = ask(prompt, answer)
    u_ohm = value * RESISTOR_TOLERANCE / 3.0**0.5 if given.u_ohm is None else given.u_ohm
    n = given.repeats
    taken: list[TapStep] = []
    raw: RawStep | None = None
    for side, count in (("cell", n), ("load", 2 * n), ("cell", n)):
        if taken:
            answer(prompts.tap(side))
        for _ in range(count):
            yield from rest(rig, REST_S, len(taken) + 1, 4 * n)
            keep_balanced(rig, raw)
            rest_ms, on_ms, recovery_ms = STEP_MS
            durations_ms = (rest_ms + phase_ms(len(taken) + 1), on_ms, recovery_ms)
            at_s = rig.now_s()
            segments = _pulse(step.load, durations_ms)
            raw = yield from stepping.step(rig, step.load, segments, len(taken) + 1, 4 * n)
            taken.append(TapStep("load" if side == "load" else "cell", at_s, raw))
    answer(prompts.no_resistor())
    standard = Standard(f"resistor of {value:g} ohm", u_ohm, given.u_ohm is None)
    return taken, Known(value, u_ohm, standard=standard)


def look(rig: Rig, step: CalibrationStep) -> Iterator[Progress]:
    """See that the cell asked for is there and no load is stuck on. Raises Refused."""
    rig.set_null(None)
    rig.set_range(True)
    readings = [(True, _taps(rig))]
    if not step.range_high:
        rig.set_range(False)
        readings.insert(0, (False, _taps(rig)))
    presence.refuse(rig.profile, rig.converter, readings)
    if step.cell is not None:
        _require_cell(step.cell, readings[0][1].sense_v)
    segments = tuple(zip((0, commands.ARM_ALONE, 0), ARMED_MS, strict=True))
    raw = yield from stepping.step(rig, 0, segments, 0, 0)
    stuck.check_armed(raw, rig.profile, rig.converter)


def rest(rig: Rig, seconds: float, number: int, of: int) -> Iterator[Progress]:
    """Let the cell rest."""
    yield Stepping(number, of, stepping.REST, 0.0, seconds, rig.live().sense_v)
    rig.wait(seconds)


def cell_prompt(known: Designation) -> prompts.Prompt:
    """The cell that a step takes."""
    return prompts.cell(known, VIRTUAL_NAMES[known.designation])


def _pulse(load_index: int, durations_ms: tuple[int, int, int]) -> stepping.Segments:
    return tuple(zip((0, 1 << load_index, 0), durations_ms, strict=True))


def _taps(rig: Rig) -> presence.Taps:
    live = rig.live()
    return presence.Taps(live.sense_v, live.force_v, live.return_v)


def _require_cell(known: Designation, open_v: float) -> None:
    low_v, high_v = known.low_v * (1.0 - READING_LIMIT), known.high_v * (1.0 + READING_LIMIT)
    if not low_v <= open_v <= high_v:
        raise Refused(
            "another_cell",
            f"The cell has {open_v:.2f} V, and a {known.designation} has "
            f"{known.low_v:g} to {known.high_v:g} V.",
            f"Put a fresh {known.designation} in: the step is made for its volts.",
        )


def _require_no_cell(rig: Rig) -> None:
    """Before a load goes on: neither positive clip may be on the positive terminal."""
    taps = _taps(rig)
    floats_v = presence.floating_v(rig.profile, 1, rig.high_range)
    for name, volts, most_v in (
        ("sense", taps.sense_v, 0.0),
        ("force", taps.force_v, floats_v),
    ):
        limit_v = presence.limit_v(rig.profile, rig.converter, 0, rig.high_range)
        if abs(volts) > most_v + limit_v:
            raise Refused(
                "not_shorted",
                f"The positive {name} clip is at {volts:.2f} V instead of zero volts.",
                "Put both positive clips on the cell's negative terminal, and see that they "
                "touch it.",
            )
