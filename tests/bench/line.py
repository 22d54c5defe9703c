# SPDX-License-Identifier: MIT
"""How often do the intervals of a V-I line hold the truth, and how wide are they? (simulated)

    python tests/bench/line.py [--draws 4000] [--from 0] [--jobs 2] [--cells lr6,18650]
        [--front-ends null,ads1115] [--calibrated] [--repeats 2] [--save FILE] [--read FILE ...]

One draw is one rig and one run of noise. The whole procedure runs, repeats and line. The truth of
a point is the cell's own current and voltage at that time with the drawn rig's own loads, from
rest, by the circuit without converters; the truth of the line is the one through the true points
with the same weights. Beside E and r it judges the gap between the line's E and the open-circuit
one, and the two-current r of the lightest and the heaviest point.

The interval of the gap may cover too often: each step begins at an open level of its own, so that
a converter's non-linearity is in the scatter as well as in its own term. It is the threshold of a
warning, and no figure.

`--save` and `--read` are those of coverage.py. Exit status 1 as there, and where more than 3 % of
the draws are told a dependence on the current or an activation polarization that the simulated
cells, which are linear, do not have.
"""

import argparse
import json
import sys
import time
from collections import Counter
from collections.abc import Iterable, Sequence
from contextlib import closing
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np

from bench.draws import BOARDS, FRONT_ENDS, Figure, names
from bench.nearrig import open_near
from bench.spread import spread
from bench.tally import LEVEL, Cover
from bench.true_calibration import calibration_of, rig_of
from sagline.analysis.estimate import estimate
from sagline.analysis.line import through
from sagline.analysis.lineestimate import LineEstimate, estimate_line
from sagline.analysis.values import Quantity, RawStep
from sagline.device.procedure import run
from sagline.device.progress import LinePlanned, LineStepDone, RepeatDone
from sagline.device.settings import Settings
from sagline.errors import SaglineError
from sagline.virtual.cell import Cell
from sagline.virtual.cells import CELLS
from sagline.virtual.circuit import Circuit
from sagline.virtual.parts import Parts
from sagline_board import profile

T_S = 0.1
QUANTITIES = ("emf", "r", "gap", "two_current")
FALSE_WORDS = ("r_depends_on_current", "activation_polarization")
MOST_FALSE = 0.03
"""A bend is told by chance in 1 %, a gap to the one side in 0.2 %."""


@dataclass(frozen=True)
class LineDraw:
    """What one run gave: figures with their truth, and the codes of what was said."""

    number: int
    cell: str
    front_end: str
    figures: dict[str, Figure] = field(default_factory=dict)
    said: tuple[str, ...] = ()
    refused: str | None = None
    seconds: float = 0.0

    @classmethod
    def from_dict(cls, saved: dict[str, Any]) -> "LineDraw":
        """Return the draw that was saved."""
        figures = {name: Figure(**one) for name, one in saved["figures"].items()}
        return cls(**{**saved, "figures": figures, "said": tuple(saved["said"])})


@dataclass(frozen=True)
class Study:
    """Every cell with every front end, one draw after the other."""

    cells: tuple[str, ...]
    front_ends: tuple[str, ...]
    calibrated: bool = False
    repeats: int = 2

    def draw(self, number: int) -> LineDraw:
        """Measure draw `number`."""
        began = time.monotonic()
        rows = [(cell, front_end) for cell in self.cells for front_end in self.front_ends]
        turn, at = divmod(number, len(rows))
        cell, front_end = rows[at]
        board = BOARDS[turn % len(BOARDS)]
        address = f"virtual://{cell}?seed={number}&board={board}&{FRONT_ENDS[front_end]}"
        which = LineDraw(number, cell, front_end)
        try:
            figures, said = self._measured(number, CELLS[cell], address)
        except SaglineError as error:
            return LineDraw(number, cell, front_end, refused=error.code)
        except Exception as error:
            return LineDraw(number, cell, front_end, refused=f"crash {type(error).__name__}")
        seconds = time.monotonic() - began
        return LineDraw(which.number, cell, front_end, figures, said, None, seconds)

    def _measured(
        self, number: int, cell: Cell, address: str
    ) -> tuple[dict[str, Figure], tuple[str, ...]]:
        parts, serial = rig_of(address)
        known = None
        if self.calibrated:
            rng = np.random.default_rng([number, len("calibration")])
            known = calibration_of(parts, serial=serial, rng=rng)
        repeats: list[RawStep] = []
        steps: list[RawStep] = []
        settings = Settings(designation=cell.designation, repeats=self.repeats, line=True)
        with (
            open_near(address, known) as rig,
            closing(run(rig, settings)) as items,
        ):
            masks: tuple[int, ...] = ()
            for item in items:
                if isinstance(item, LinePlanned):
                    masks = item.plan.masks
                elif isinstance(item, RepeatDone):
                    repeats.append(item.step.raw())
                elif isinstance(item, LineStepDone):
                    steps.append(item.step.raw())
                    if item.number == item.count:
                        break
            aged = None if known is None else known.at(datetime.now(UTC))
            of_rig = (rig.profile, rig.converter)
        usual = estimate(repeats, *of_rig, (T_S,), None, aged)
        line, notices = estimate_line(steps, *of_rig, T_S, usual, aged)
        if line is None:
            return {}, tuple(notice.code for notice in notices)
        found = compared(line, true_points(cell, parts, masks), cell.emf_v)
        return found, tuple(notice.code for notice in notices)


def true_points(cell: Cell, parts: Parts, masks: Sequence[int]) -> tuple[np.ndarray, np.ndarray]:
    """The rested cell's own current and terminal voltage at T_S on each of the rig's loads."""
    high = cell.emf_v * 1e3 > profile.RANGE_MV[0]
    current_a, v = [], []
    for mask in masks:
        circuit = Circuit(cell, parts)
        circuit.switch(mask, high)
        circuit.advance(T_S)
        current_a.append(circuit.current())
        v.append(circuit.terminal_v())
    return np.array(current_a), np.array(v)


def compared(
    line: LineEstimate, true: tuple[np.ndarray, np.ndarray], emf_v: float
) -> dict[str, Figure]:
    """The figures of a line with the truth of each, by the same weights."""
    current_a, v = true
    (line_e, line_r), _, _ = through(current_a, v, line.budget.fit.precision)
    two = float((v[0] - v[-1]) / (current_a[-1] - current_a[0]))
    pairs = {
        "emf": (line.emf, float(line_e)),
        "r": (line.r, float(line_r)),
        "gap": (line.budget.gap(), float(line_e) - emf_v),
        "two_current": (line.budget.two_current(0, current_a.size - 1), two),
    }
    return {name: figure for name, pair in pairs.items() if (figure := _figure(*pair))}


def _figure(quantity: Quantity, true: float) -> Figure | None:
    u, low, high = quantity.u, quantity.low95, quantity.high95
    if u is None or low is None or high is None:
        return None
    return Figure(quantity.value, u, low, high, true)


def report(draws: Sequence[LineDraw]) -> tuple[list[str], list[str]]:
    """The tables, and what is out of bounds."""
    lines, broken = [], []
    kinds: dict[tuple[str, str], list[LineDraw]] = {}
    for draw in sorted(draws, key=lambda one: one.number):
        kinds.setdefault((draw.cell, draw.front_end), []).append(draw)
    for key, some in [*kinds.items(), (("all", ""), list(draws))]:
        allowed = 0.01 if key[0] == "all" else 0.0
        for name in QUANTITIES:
            cover = Cover.of([draw.figures[name] for draw in some if name in draw.figures])
            if cover is None:
                continue
            # The gap of a linear cell is next to nothing: no share of it says anything.
            half = "" if name == "gap" else f"{cover.half_rel:.2%}"
            lines.append(
                f"{key[0]:<10} {key[1]:<8} {name:<12} n {cover.n:>5} in {cover.share:>6.1%} "
                f"U/true {half:>6} bias {cover.bias:+.2f} sd {cover.sd:.2f} "
                f"worst {cover.worst:.2f}"
            )
            if name == "gap" and cover.share > LEVEL:
                continue
            broken += [f"{' '.join(key)} {name}: {said}" for said in cover.wrong(allowed)]
    said = Counter(code for draw in draws for code in draw.said)
    for code, count in said.most_common():
        lines.append(f"said: {code} in {count / len(draws):.1%}")
        if code in FALSE_WORDS and count > 3 + MOST_FALSE * len(draws):
            broken.append(f"{code} is said of linear cells in {count / len(draws):.1%}")
    refused = Counter(draw.refused for draw in draws if draw.refused)
    lines += [f"refused: {code} {count} ×" for code, count in refused.items()]
    broken += [f"{count} × {code}" for code, count in refused.items() if "crash" in str(code)]
    return lines, broken


def read(files: Iterable[str]) -> list[LineDraw]:
    """The draws saved in `files`; of several with one number the last."""
    found = {}
    for file in files:
        for text in Path(file).read_text().splitlines():
            draw = LineDraw.from_dict(json.loads(text))
            found[draw.number] = draw
    return list(found.values())


def main() -> int:
    """Run the study, or read one; print its tables."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--draws", type=int, default=4000)
    parser.add_argument("--from", type=int, default=0, dest="first", metavar="N")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--cells", default=",".join(CELLS))
    parser.add_argument("--front-ends", default="null,ads1115")
    parser.add_argument("--calibrated", action="store_true")
    parser.add_argument("--repeats", type=int, default=2, help="before the line (default 2)")
    parser.add_argument("--save", metavar="FILE")
    parser.add_argument("--read", metavar="FILE", nargs="+", help="draw nothing")
    args = parser.parse_args()
    if args.read:
        draws = read(args.read)
    else:
        cells, front_ends = names(args.cells, list(CELLS)), names(args.front_ends, FRONT_ENDS)
        study = Study(cells, front_ends, args.calibrated, args.repeats)
        draws = []
        for draw in spread(study.draw, range(args.first, args.draws), args.jobs):
            draws.append(draw)
            if args.save:
                with open(args.save, "a") as file:
                    print(json.dumps(asdict(draw)), file=file)
    if not draws:
        parser.error("no draws: --from is the first number, --draws the one after the last")
    lines, broken = report(draws)
    print("simulated; 95 % intervals of V-I lines against the truth", *lines, sep="\n")
    print("\n".join(broken) or "within bounds", file=sys.stderr)
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
