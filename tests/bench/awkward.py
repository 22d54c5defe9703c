# SPDX-License-Identifier: MIT
"""What is reported of awkward steps, against the truth (simulated; needs ngspice).

    python tests/bench/awkward.py [--seeds 10] [--cases 'voltage delay,across E11'] [--json]

Seed 0 to N-1 each draw a board and its noise; the line "perfect" is a board as marked,
without noise and rounding. Exit status 1 where intervals hold the truth so rarely that
95 % is not believed.
"""

import argparse
import json
import sys
from dataclasses import asdict
from pathlib import Path

import numpy as np
from scipy.stats import binom

sys.path.insert(0, str(Path(__file__).parents[1]))

from plant.cases import CASES, Report, report

UNLUCKY = 1e-3


def main() -> int:
    """Run the study; print its table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--cases", default=",".join(CASES))
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    reports: list[Report] = []
    wrong = []
    if not args.json:
        print("simulated in ngspice; r(0.1 s), then r at t_f; errors and U relative to the truth")
        print(
            "case                         perfect    held    error sd   U mean    "
            "t_f ms  perfect    held    U mean    said"
        )
    for name in args.cases.split(","):
        case = CASES[name]
        perfect, *drawn = [report(case, seed) for seed in (None, *range(args.seeds))]
        reports += [perfect, *drawn]
        figures = [each for each in drawn if each.error is not None]
        errors = [each.error for each in drawn if each.error is not None]
        held = sum(each.held for each in figures)
        codes = sorted({code for each in drawn for code in (*each.notices, each.refused) if code})
        if held < binom.ppf(UNLUCKY, len(figures), 0.95):
            wrong.append(f"{name}: {held} of {len(figures)} intervals hold the truth")
        if args.json:
            continue
        spread = f"{np.std(errors):.3%}" if errors else "-"
        first_ms = f"{perfect.first_s * 1e3:g}" if perfect.first_s else "-"
        print(
            f"{name:<28} {_signed(perfect.error):<10} {held:>3}/{len(figures):<3} {spread:<10} "
            f"{_mean([each.u for each in figures]):<9} {first_ms:<7} "
            f"{_signed(perfect.first_error):<10} "
            f"{sum(each.first_held for each in figures):>3}/{len(figures):<3} "
            f"{_mean([each.first_u for each in figures]):<9} " + ", ".join(codes)
        )
    if args.json:
        print(json.dumps([asdict(each) for each in reports], indent=2))
    print("\n".join(wrong), file=sys.stderr)
    return 1 if wrong else 0


def _signed(error: float | None) -> str:
    return "refused" if error is None else f"{error:+.3%}"


def _mean(shares: list[float | None]) -> str:
    known = [each for each in shares if each is not None]
    return f"{np.mean(known):.2%}" if known else "-"


if __name__ == "__main__":
    sys.exit(main())
