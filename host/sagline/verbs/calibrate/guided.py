# SPDX-License-Identifier: MIT
"""`sagline calibrate [--step NAME]`: the guided calibration, and its report card."""

import argparse
import json
import sys
from contextlib import closing, suppress
from typing import TYPE_CHECKING, Any

from sagline.ids import short_id
from sagline.streams import tell
from sagline.verbs.calibrate.answering import answerer_for
from sagline.verbs.calibrate.common import contents, fleeting, named
from sagline.verbs.progressline import ProgressLine

if TYPE_CHECKING:
    from sagline.calibrations import Calibration
    from sagline.device.calibrating.asking import Given
    from sagline.device.calibrating.guide import Calibrated, StepFound, StepRefused
    from sagline.device.calibrating.plan import CalibrationStep
    from sagline.device.rig import Rig
    from sagline.errors import SaglineError


def declare(group: Any) -> None:
    """Add --step."""
    group.add_argument(
        "--step",
        metavar="NAME|all|list",
        help="do this step alone, or several with a comma between; list says which there are",
    )


def declare_more(parser: argparse.ArgumentParser) -> None:
    """Add what guided steps and checks are told beforehand."""
    told = parser.add_argument_group("told beforehand")
    told.add_argument("--resistor", type=float, metavar="OHM", help="the added resistor's value")
    told.add_argument(
        "--u-ohm",
        type=float,
        metavar="OHM",
        help="standard uncertainty of the resistor (default: that of 0.1 %%) or of the load",
    )
    told.add_argument(
        "--u-volts",
        type=float,
        metavar="V",
        help="standard uncertainty of the voltmeter's reading (default: that of 0.05 %% and two "
        "units of the last digit)",
    )
    told.add_argument(
        "--repeats", type=int, default=2, metavar="N", help="steps at a stay of the tap (default 2)"
    )
    told.add_argument("--temperature", type=float, metavar="C", help="the rig's, in °C")


def wanted(args: argparse.Namespace) -> bool:
    """Whether it is asked for: by --step, or by nothing else on a terminal."""
    return args.step is not None or sys.stdin.isatty()


def given(args: argparse.Namespace) -> "Given":
    """Return what the options say. Raises UsageError."""
    from sagline.device.calibrating.asking import Given

    return Given(
        resistor_ohm=args.resistor,
        u_ohm=args.u_ohm,
        u_volts=args.u_volts,
        repeats=args.repeats,
        temperature_c=args.temperature,
    )


def run(args: argparse.Namespace) -> int:
    """Calibrate; print what was found and the report card. Returns the exit status."""
    from sagline.device.calibrating.plan import find, steps_of
    from sagline.device.rig import open_rig
    from sagline.rigs import resolve

    told = given(args)
    with open_rig(resolve(args.rig)) as rig:
        if args.step == "list":
            return _list(rig, args.json)
        steps = steps_of(rig.profile)
        if args.step not in (None, "all"):
            steps = find(rig.profile, args.step.split(","))
        _require_one_resistor(args, steps)
        return _guide(rig, steps, told, args.json)


def _require_one_resistor(args: argparse.Namespace, steps: "list[CalibrationStep]") -> None:
    from sagline.errors import UsageError

    told = args.resistor is not None or args.u_ohm is not None
    if told and sum(step.kind in ("scale", "load") for step in steps) > 1:
        raise UsageError(
            "several_resistors",
            "--resistor and --u-ohm are of one resistor, and these steps take several.",
            "Give them with one --step at a time, or type each value when you are asked for it.",
        )


def _guide(rig: "Rig", steps: "list[CalibrationStep]", told: "Given", as_json: bool) -> int:
    from sagline.device.calibrating.guide import (
        Begun,
        Calibrated,
        StepFound,
        StepRefused,
        calibrate,
    )
    from sagline.device.progress import describe
    from sagline.device.ramp import Ramping
    from sagline.errors import Refused

    answer = answerer_for(rig, as_json)
    so_far: Calibration | None = None
    refused: Refused | None = None
    end: Calibrated | None = None
    try:
        with ProgressLine() as line, closing(calibrate(rig, steps, answer, told)) as items:
            for item in items:
                if isinstance(item, Begun):
                    _print(as_json, {"begun": item.step.name}, [f"\n{item.step.title}:"])
                elif isinstance(item, StepFound):
                    so_far = item.calibration
                    _tell_found(rig, item, as_json)
                elif isinstance(item, StepRefused):
                    refused = item.error
                    _tell_refused(item, as_json)
                elif isinstance(item, Calibrated):
                    end = item
                elif isinstance(item, Ramping):
                    line.show(f"ramp: {item.sense_v:.2f} V, to {item.to_v:.2f} V")
                else:
                    line.show(describe(item))
    except BaseException:
        if so_far is not None:
            _keep_what_there_is(rig, so_far)
        raise
    if end is not None and end.calibration is not None:
        _finish(rig, end, as_json)
    if refused is not None:
        raise refused
    return 0


def _finish(rig: "Rig", end: "Calibrated", as_json: bool) -> None:
    from sagline.calibrationcard import card, card_lines, table_row
    from sagline.errors import NotStored

    made = end.calibration
    assert made is not None
    failure: SaglineError | None = None
    try:
        rig.keep_calibration(made)
    except NotStored as error:
        failure = error
    rows = card(end.found, [bank.load_ohm for bank in rig.profile.loads])
    if end.table is not None:
        rows.insert(0, table_row(end.table, rig.profile))
    words = ["\nReport card (± at 95 %):", *(f"  {text}" for text in card_lines(rows))]
    words.append(f"\nThe board keeps {named(made)}: {contents(made)}.")
    _print(
        as_json,
        {
            "calibration": made.to_dict(),
            "card": [row.to_dict() for row in rows],
            "simulated": rig.is_virtual,
        },
        words,
    )
    if fleeting(rig):
        tell(
            "sagline: simulated. This rig is closed now and forgets its calibration; it is in "
            f"the history as {short_id(made.id)}."
        )
    if failure is not None:
        raise failure


def _keep_what_there_is(rig: "Rig", made: "Calibration") -> None:
    """After an interruption: what was found is not lost with it."""
    from sagline.errors import SaglineError

    with suppress(SaglineError):
        rig.keep_calibration(made)
        tell(f"\nsagline: what was found so far is kept as {named(made)}.")


def _tell_found(rig: "Rig", item: "StepFound", as_json: bool) -> None:
    from sagline.calibrationcard import card, table_row
    from sagline.wording import counted

    rows = card(item.findings.found, [bank.load_ohm for bank in rig.profile.loads])
    if item.findings.table is not None:
        rows.append(table_row(item.findings.table, rig.profile))
    notices = [vars(notice) for notice in item.findings.notices]
    used = sum(row.used for row in rows)
    words = [f"  {counted(len(rows), 'value')} found, {used} of use."]
    words += [f"  Note: {notice['text']} {notice['remedy']}" for notice in notices]
    document = {
        "found": {
            "step": item.step.name,
            "card": [row.to_dict() for row in rows],
            "warnings": notices,
        }
    }
    _print(as_json, document, words)


def _tell_refused(item: "StepRefused", as_json: bool) -> None:
    error = item.error
    words = [
        f"  Refused: {error.message} {error.remedy}",
        f"  Do it again later: sagline calibrate --step {item.step.name}",
    ]
    _print(as_json, {"refused": {"step": item.step.name, **error.to_dict()["error"]}}, words)


def _list(rig: "Rig", as_json: bool) -> int:
    from sagline.device.calibrating.plan import load_steps, steps_of

    for step in (*steps_of(rig.profile), *load_steps(rig.profile)):
        cell = None if step.cell is None else step.cell.designation
        ohm = step.resistor_ohm or None
        takes = [] if cell is None else [f"a fresh {cell}"]
        takes += [] if ohm is None else [f"{ohm:g} Ω"]
        words = f"{step.name:<16} {step.title}" + (f" ({', '.join(takes)})" if takes else "")
        row = {"name": step.name, "title": step.title, "cell": cell, "resistor_ohm": ohm}
        _print(as_json, {"step": row}, [words])
    return 0


def _print(as_json: bool, document: dict[str, Any], words: list[str]) -> None:
    if as_json:
        print(json.dumps(document), flush=True)
    else:
        print("\n".join(words), flush=True)
