# SPDX-License-Identifier: MIT
"""Random schedules of a board's life: was any load on for longer than it may be? (emulated)

    python tests/bench/schedules.py [--schedules 1000000] [--first 0] [--jobs 2]

What a schedule is made of is told in tests/board/schedules.py. Prints the pulses, the longest one,
and how far the worst went beyond its plan, which the one-shot's margin bounds. Exit status 1 where
a load was on past its limit, after what turns it off, or at the end.
"""

import argparse
import sys
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.spread import spread
from board.schedules import Outcome, run
from sagline_board.engine import ONE_SHOT_MARGIN_US

AT_A_TIME = 500
SHOWN = 20


def some(end: int, first: int) -> list[Outcome]:
    """The outcomes of AT_A_TIME schedules from `first` on, before `end`: those that went wrong,
    and one that stands for all."""
    found = [run(number) for number in range(first, min(first + AT_A_TIME, end))]
    whole = Outcome(
        first,
        beyond_us=max(one.beyond_us for one in found),
        longest_us=max(one.longest_us for one in found),
        pulses=sum(one.pulses for one in found),
    )
    return [whole, *(one for one in found if one.wrong)]


def main() -> int:
    """Run the study; print what was found."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--schedules", type=int, default=1_000_000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    end = args.first + args.schedules
    wrong: list[Outcome] = []
    pulses = longest_us = 0
    beyond_us = None
    for whole, *bad in spread(partial(some, end), range(args.first, end, AT_A_TIME), args.jobs):
        wrong += bad
        pulses += whole.pulses
        longest_us = max(longest_us, whole.longest_us)
        beyond_us = whole.beyond_us if beyond_us is None else max(beyond_us, whole.beyond_us)
    print(f"emulated; {args.schedules} schedules, {pulses} pulses, the longest {longest_us} us")
    print(f"worst case: {beyond_us} us beyond its plan; the margin is {ONE_SHOT_MARGIN_US} us")
    for one in wrong[:SHOWN]:
        print(f"schedule {one.number}: {'; '.join(one.wrong)}")
    print(f"{len(wrong)} schedules went wrong" if wrong else "all off in time", file=sys.stderr)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
