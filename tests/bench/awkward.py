# SPDX-License-Identifier: MIT
"""What is reported of awkward steps, against the truth (simulated; needs ngspice).

    python tests/bench/awkward.py [--seeds 10] [--cases 'voltage delay,across E11'] [--json]

Seed 0 to N-1 each draw a board and its noise; the line "perfect" is a board as marked,
without noise and rounding. Exit status 1 where intervals hold the truth so rarely that
95 % is not believed, and nothing was said of it.
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
        print("simulated in ngspice; r(0.1 s), errors and U relative to the truth")
        print("case                         perfect    held      error sd   U mean    said")
    for name in args.cases.split(","):
        case = CASES[name]
        perfect, *drawn = [report(case, seed) for seed in (None, *range(args.seeds))]
        reports += [perfect, *drawn]
        figures = [each for each in drawn if each.error is not None]
        errors = [each.error for each in drawn if each.error is not None]
        held = sum(each.held for each in figures)
        codes = sorted({code for each in drawn for code in (*each.notices, each.refused) if code})
        if not case.says and held < binom.ppf(UNLUCKY, len(figures), 0.95):
            wrong.append(f"{name}: {held} of {len(figures)} intervals hold the truth")
        if args.json:
            continue
        off = "refused" if perfect.error is None else f"{perfect.error:+.3%}"
        spread = f"{np.std(errors):.3%}" if errors else "-"
        width = [each.u for each in figures if each.u is not None]
        u = f"{np.mean(width):.2%}" if width else "-"
        print(
            f"{name:<28} {off:<10} {held:>3}/{len(figures):<5} {spread:<10} {u:<9} "
            + ", ".join(codes)
        )
    if args.json:
        print(json.dumps([asdict(each) for each in reports], indent=2))
    print("\n".join(wrong), file=sys.stderr)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
