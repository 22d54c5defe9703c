# SPDX-License-Identifier: MIT
"""`sagline calibrate --check`: is the calibration still right? A check standard says."""

import argparse
import json
from contextlib import closing
from typing import TYPE_CHECKING

from sagline.verbs.calibrate.answering import answerer_for
from sagline.verbs.calibrate.guided import given
from sagline.verbs.progressline import ProgressLine

if TYPE_CHECKING:
    from sagline.device.calibrating.checking import Checked


def declare(parser: argparse.ArgumentParser) -> None:
    """Add --check, which goes with --step."""
    parser.add_argument(
        "--check",
        action="store_true",
        help="measure a resistor of known ohms by the moved tap, and add it to the control chart; "
        "best one that did not calibrate the rig, once a month",
    )


def run(args: argparse.Namespace) -> int:
    """Check; print how it compares. Returns the exit status, 0 whatever was found."""
    from sagline import checkchart
    from sagline.device.calibrating.checking import check, step_for
    from sagline.device.calibrating.guide import Begun
    from sagline.device.progress import describe
    from sagline.device.rig import open_rig
    from sagline.rigs import resolve

    told = given(args)
    with open_rig(resolve(args.rig)) as rig:
        step = step_for(rig, args.step)
        checked: Checked | None = None
        with (
            ProgressLine() as line,
            closing(check(rig, step, answerer_for(rig, args.json), told)) as items,
        ):
            while checked is None:
                try:
                    item = next(items)
                except StopIteration as end:
                    checked = end.value
                    continue
                if not isinstance(item, Begun):
                    line.show(describe(item))
        path = checkchart.append(rig.identity.serial, checked.at, checked.line)
        simulated = rig.is_virtual
    if args.json:
        notices = [vars(notice) for notice in checked.notices]
        check_json = {"at": checked.at.isoformat(), **checked.line, "simulated": simulated}
        print(json.dumps({"check": {**check_json, "chart": str(path), "warnings": notices}}))
        return 0
    print("\n".join(_words(checked, simulated)))
    for notice in checked.notices:
        print(f"Note: {notice.text} {notice.remedy}")
    print(f"Added to {path}.")
    return 0


def _words(checked: "Checked", simulated: bool) -> list[str]:
    judged, line = checked.judged, checked.line
    from sagline.analysis.calibrating.control import ACT, WARN

    lines = ["simulated"] if simulated else []
    lines.append(
        f"r = {judged.r.value:.5g} Ω ± {2 * judged.r.u:.2g} Ω, the resistor is "
        f"{line['resistor_ohm']:.5g} Ω ± {2 * line['u_resistor_ohm']:.2g} Ω (k = 2): "
        f"E_n = {judged.e_n:.2f}, up to 1 they agree."
    )
    of = f"the mean of {judged.of} checks" if judged.of else "the resistor's value"
    warn, act = judged.limits(WARN), judged.limits(ACT)
    lines.append(
        f"Deviation {100 * judged.rel:+.3f} %; about {of} the limits of warning are "
        f"{100 * warn[0]:+.3f} % and {100 * warn[1]:+.3f} %, of action {100 * act[0]:+.3f} % and "
        f"{100 * act[1]:+.3f} %: {judged.state}."
    )
    if judged.state == "out":
        lines.append(
            "Do not trust r until you know why: check clips, resistor and cell, then check "
            "again; if it stays so, calibrate anew."
        )
    elif judged.state == "warning":
        lines.append("One in twenty is there by chance: check again soon.")
    return lines
