# SPDX-License-Identifier: MIT
"""How much faster than a real bench the virtual rig runs, and what takes the time.

    python tests/bench/pace.py [--runs 5]

Ratios within one run: bench seconds a wall-clock second, and the share of the
analysis in it.
"""

import argparse
import time

import sagline
from sagline.analysis.estimate import estimate
from sagline.device.procedure import run
from sagline.device.progress import RepeatDone
from sagline.device.settings import Settings


def main() -> None:
    """Measure one cell several times; print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--runs", type=int, default=5)
    args = parser.parse_args()
    for name in ("lr6", "6lr61"):
        bench_s = wall_s = analysis_s = 0.0
        for seed in range(args.runs + 1):
            with sagline.open_rig(f"virtual://{name}?seed={seed}") as rig:
                start_s = time.perf_counter()
                steps = [item for item in run(rig, Settings()) if isinstance(item, RepeatDone)]
                taken_s, simulated_s = time.perf_counter() - start_s, rig.now_s()
                raw = _one_step(rig)
                start_s = time.perf_counter()
                estimate([raw] * len(steps), rig.profile, rig.converter)
                one_estimate_s = time.perf_counter() - start_s
                if seed:  # the first run pays for imports
                    bench_s += simulated_s
                    wall_s += taken_s
                    analysis_s += one_estimate_s * len(steps)
        print(
            f"{name}: {bench_s / wall_s:.0f} bench seconds a second "
            f"({60 * wall_s / bench_s:.2f} s a minute), analysis {analysis_s / wall_s:.0%} of it"
        )


def _one_step(rig):
    step = rig.step(3, ((0, 1000), (8, 300), (0, 1000)))
    while True:
        try:
            next(step)
        except StopIteration as end:
            return end.value


if __name__ == "__main__":
    main()
