# SPDX-License-Identifier: MIT
"""How wide are the intervals of calibrated rigs, and what limits them? (simulated)

    python tests/bench/targets.py [--seeds 40] [--jobs 2] [--uncalibrated]
        [--front-ends ads1115,onboard,null] [--json]

For each target a row: U at 95 % of r(0.1 s), relative, mean over the rigs, its limit, the
largest line of the budget with its mean share of u², and how often the interval held the truth;
the same for E. Rigs and the two boards are drawn as in `coverage.py`. Each has a calibration
with its true values, each off by an error drawn from the uncertainty that the calibration
states (`true_calibration.py`).

Exit status 1 where a target is missed, or where intervals cover further from 95 % than three
binomial standard deviations.
"""

import argparse
import json
import sys
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.draws import BOARDS, FRONT_ENDS, Draw, measured, names
from bench.spread import spread
from bench.tally import Row
from sagline.virtual.cells import CELLS


@dataclass(frozen=True)
class Target:
    """U95(r(0.1 s))/r at most `r_rel` for a cell on a load (ohm), and U95(E)/E `emf_rel`."""

    cell: str
    load_ohm: float
    front_end: str
    r_rel: float
    emf_rel: float


ADS_EMF, ONBOARD_EMF = 0.003, 0.01
TARGETS = (
    Target("6lr61", 68.0, "ads1115", 0.006, ADS_EMF),
    Target("lr6", 3.3, "ads1115", 0.008, ADS_EMF),
    Target("cr2032", 470.0, "ads1115", 0.006, ADS_EMF),
    Target("18650", 3.3, "ads1115", 0.015, ADS_EMF),
    Target("hr6", 3.3, "ads1115", 0.03, ADS_EMF),
    Target("sla12", 15.0, "ads1115", 0.06, ADS_EMF),
    Target("lr6", 3.3, "onboard", 0.05, ONBOARD_EMF),
    Target("6lr61", 68.0, "onboard", 0.04, ONBOARD_EMF),
    Target("6lr61", 68.0, "null", 0.005, ADS_EMF),
    Target("lr6", 3.3, "null", 0.005, ADS_EMF),
    Target("cr2032", 470.0, "null", 0.005, ADS_EMF),
    Target("18650", 3.3, "null", 0.006, ADS_EMF),
    Target("hr6", 3.3, "null", 0.01, ADS_EMF),
    Target("lfp", 3.3, "null", 0.01, ADS_EMF),
    Target("sla12", 15.0, "null", 0.015, ADS_EMF),
    Target("starter12", 3.3, "null", 0.04, ADS_EMF),
)


@dataclass(frozen=True)
class Met:
    """A target beside what was found; U relative, largest lines as (source, share of u²)."""

    target: Target
    found: Row
    r_rel: float | None
    emf_rel: float | None
    r_limit: tuple[str, float] | None
    emf_limit: tuple[str, float] | None

    @classmethod
    def of(cls, target: Target, draws: list[Draw]) -> "Met":
        row = Row.of((target.cell, target.front_end), draws)
        r, emf = row.covers["r"], row.covers["emf"]
        return cls(
            target,
            row,
            r and r.half_rel,
            emf and emf.half_rel,
            next(iter(row.r_budget.items()), None),
            next(iter(row.emf_budget.items()), None),
        )

    def wrong(self) -> list[str]:
        """What is out of bounds, in words; a row without figures misses its target."""
        said = []
        for name, rel, most in (
            ("r(0.1 s)", self.r_rel, self.target.r_rel),
            ("E", self.emf_rel, self.target.emf_rel),
        ):
            if rel is None:
                said.append(f"{' '.join(self.found.key)}: {name} was never measured")
            elif rel > most:
                said.append(f"{' '.join(self.found.key)}: U({name}) {rel:.2%} > {most:.2%}")
        return said + self.found.wrong()


def one(calibrated: bool, which: tuple[int, Target]) -> tuple[Target, Draw]:
    """Measure draw `number` of a target's row."""
    number, target = which
    cell = CELLS[target.cell]
    turn = number // len(TARGETS)
    board = BOARDS[turn % len(BOARDS)]
    draw = Draw(number, target.cell, target.front_end, board, target.load_ohm)
    address = f"virtual://{target.cell}?seed={number}&board={board}&{FRONT_ENDS[target.front_end]}"
    wish = {"designation": cell.designation, "load_ohm": target.load_ohm}
    return target, measured(draw, cell, address, wish, calibrated)


def line(met: Met) -> str:
    """A row of the table."""
    target, row = met.target, met.found
    parts = [f"{target.cell:<10} {target.load_ohm:<5g} {target.front_end:<8} {row.draws:>4} "]
    for name, rel, most, limit in (
        ("r", met.r_rel, target.r_rel, met.r_limit),
        ("emf", met.emf_rel, target.emf_rel, met.emf_limit),
    ):
        cover = row.covers[name]
        if rel is None or limit is None or cover is None:
            parts.append("-".rjust(14).ljust(56))
            continue
        source, share = limit
        parts.append(
            f"{rel:>7.2%} {most:>6.2%} {'met' if rel <= most else 'not':<4}"
            f"{source:>19} {share:>4.0%} {cover.share:>7.1%}  "
        )
    return "| ".join(parts)


def main() -> int:
    """Run the study; print one row a target."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--seeds", type=int, default=40)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--uncalibrated", action="store_true")
    parser.add_argument("--front-ends", default="ads1115,onboard,null")
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    try:
        front_ends = names(args.front_ends, FRONT_ENDS)
    except ValueError as error:
        parser.error(str(error))
    # A draw keeps its number whichever rows are asked for.
    work = [
        (turn * len(TARGETS) + at, target)
        for turn in range(args.seeds)
        for at, target in enumerate(TARGETS)
        if target.front_end in front_ends
    ]
    done = list(spread(partial(one, not args.uncalibrated), work, args.jobs))
    mets = [
        Met.of(target, [draw for which, draw in done if which == target])
        for target in TARGETS
        if target.front_end in front_ends
    ]
    wrong = [words for met in mets for words in met.wrong()]
    if args.json:
        print(json.dumps([asdict(met) for met in mets], indent=2))
        return 1 if wrong else 0
    kind = "uncalibrated" if args.uncalibrated else "calibrated"
    head = "   U95  limit met?        largest line   u²      in  "
    print(f"simulated; {kind} rigs; U95 relative, mean over the rigs")
    print(f"{'cell':<10} {'load':<5} {'':<8} rigs | r(0.1 s)\n{'':<30}| {head}| E {head[2:]}")
    for met in mets:
        print(line(met))
        for code, count in met.found.refusals.items():
            print(f"  refused: {count} × {code}")
    print("\n".join(wrong) or "all met", file=sys.stderr)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
