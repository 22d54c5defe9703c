# SPDX-License-Identifier: MIT
"""Cells in a circuit simulator: truth, found, error, U, share covered (simulated; needs ngspice).

    python tests/bench/plant.py [--seeds 40] [--cells 'LR6,CR2032'] [--adc ads1115]
        [--block-codes 64] [--json]

Each seed draws a board (its load too, so that each has a run of its own) and its noise.
A block of the ADS1115's codes errs alike; the analysis assumes blocks of 16 codes, and 64 means
that a level which crosses some codes averages less than it assumes.
"perfect" is the error on a board as marked, without noise and rounding. Exit status 1 where
the intervals hold the truth so rarely that 95 % is not believed.
"""

import argparse
import json
import sys
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from scipy.stats import binom

sys.path.insert(0, str(Path(__file__).parents[1]))

from analysis.analytic_cell import PROFILE
from plant import measured
from plant.cases import HEADLINE_S, reach
from plant.cells import CELLS
from plant.parts import BLOCK_CODES
from sagline.analysis.estimate import estimate
from sagline_board.profile import ADS1115, ONBOARD

UNLUCKY = 1e-3
CONVERTERS = {"onboard": ONBOARD, "ads1115": ADS1115}


@dataclass
class Row:
    """One figure of one cell over all seeds; relative to the truth of each seed."""

    cell: str
    figure: str
    truth: float
    perfect_error: float
    mean_error: float
    sd_error: float
    u_mean: float
    held: int
    seeds: int

    @property
    def believed(self) -> bool:
        return self.held >= int(binom.ppf(UNLUCKY, self.seeds, 0.95))


def study(name: str, converter: int, seeds: int, block_codes: float) -> list[Row]:
    """E, r(0.1 s) and r(t_f) of one cell."""
    cell = CELLS[name]
    errors: dict[str, list[float]] = {}
    widths: dict[str, list[float]] = {}
    held: dict[str, int] = {}
    first: dict[str, tuple[float, float]] = {}
    for seed in (None, *range(seeds)):
        # Other boards for each cell, or all cells would share the luck of a few.
        own = None if seed is None else 10_000 * list(CELLS).index(name) + seed
        if own is None:
            found, steps = measured.ideal(cell)
        else:
            found, steps = measured.drawn(cell, own, block_codes=block_codes)
        result = estimate(steps, PROFILE, converter, (HEADLINE_S,))
        for figure, quantity, truth in (
            ("E", result.emf, found.emf_v()),
            (f"r({HEADLINE_S:g} s)", result.r_at[0][1], found.r_ohm(HEADLINE_S)),
            ("r(t_f)", result.ohmic[1], found.r_ohm(result.ohmic[0])),
        ):
            error = quantity.value / truth - 1.0
            if seed is None:
                first[figure] = truth, error
                continue
            errors.setdefault(figure, []).append(error)
            half = (quantity.high95 - quantity.low95) / 2.0
            widths.setdefault(figure, []).append(half / truth)
            held[figure] = held.get(figure, 0) + (abs(reach(quantity, truth)) <= 1.0)
    return [
        Row(
            name,
            figure,
            truth,
            perfect,
            float(np.mean(errors[figure])),
            float(np.std(errors[figure])),
            float(np.mean(widths[figure])),
            held[figure],
            seeds,
        )
        for figure, (truth, perfect) in first.items()
    ]


def main() -> int:
    """Run the study; print its table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seeds", type=int, default=40)
    parser.add_argument("--cells", default=",".join(CELLS))
    parser.add_argument("--adc", choices=CONVERTERS, default="ads1115")
    parser.add_argument("--block-codes", type=float, default=BLOCK_CODES)
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    if not args.json:
        print(
            f"simulated in ngspice; {args.adc}, {args.seeds} boards a cell, "
            f"errors of {args.block_codes:g} codes"
        )
        print("cell       figure    truth      perfect   error     (sd)      U         held")
    rows = []
    for name in args.cells.split(","):
        rows += study(name, CONVERTERS[args.adc], args.seeds, args.block_codes)
        if args.json:
            continue
        for row in rows[-3:]:
            print(
                f"{row.cell:<10} {row.figure:<9} {row.truth:<10.6g} {row.perfect_error:<+9.3%} "
                f"{row.mean_error:<+9.3%} {row.sd_error:<9.3%} {row.u_mean:<9.3%} "
                f"{row.held}/{row.seeds}"
            )
    if args.json:
        print(json.dumps([asdict(row) for row in rows], indent=2))
    wrong = [
        f"{row.cell}: {row.figure} held {row.held}/{row.seeds}" for row in rows if not row.believed
    ]
    print("\n".join(wrong), file=sys.stderr)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
