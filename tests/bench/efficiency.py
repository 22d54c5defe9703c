# SPDX-License-Identifier: MIT
"""How near is r to what could be known at best? (simulated)

    python tests/bench/efficiency.py [--seeds 300] [--jobs 2] [--cells lr6,6lr61]
        [--front-ends null,ads1115,both,onboard] [--json]

A rig whose parts are all at their marked values and whose converters are straight measures a
cell again and again: noise alone differs. The standard deviation of r over these runs is set
against that of an observer who knows the cell's time constants (`observer.py`) and reads the
same points. "known" is the observer's own estimate of his standard deviation, to check him.
Biases are for information; his holds the current of later repeats, which a cell that has not
wholly recovered makes smaller than the first one's.

Exit status 1 where r(0.1 s) scatters more than 1.5 times as much; r(t_f) is for information.
"""

import argparse
import json
import sys
from collections.abc import Sequence
from contextlib import closing
from dataclasses import asdict, dataclass
from math import sqrt
from pathlib import Path
from unittest import mock

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.draws import FRONT_ENDS, names
from bench.nearrig import open_near
from bench.observer import observe
from bench.spread import spread
from sagline.analysis.values import RawStep
from sagline.device.procedure import run
from sagline.device.progress import Finished, RepeatDone
from sagline.device.settings import Settings
from sagline.errors import SaglineError
from sagline.results import Result
from sagline.virtual import port
from sagline.virtual.cells import CELLS
from sagline.virtual.parts import nominal_parts
from sagline.virtual.truth import REFERENCE_TIME_S, truth

MOST = 1.5


@dataclass(frozen=True)
class One:
    """One run: r (ohm) at each time by the analysis and by the observer, and his s.d."""

    cell: str
    front_end: str
    times_s: tuple[float, ...] = ()
    found: tuple[float, ...] = ()
    observed: tuple[float, ...] = ()
    sd: tuple[float, ...] = ()
    chi2_per_dof: float = 0.0
    refused: str | None = None


@dataclass(frozen=True)
class Row:
    """Scatter of r at one time (s), in ohm: ours, the observer's, what he thinks of his own.

    `ratio_sd` is the standard deviation of the ratio. Biases are means less the truth.
    """

    cell: str
    front_end: str
    t_s: float
    n: int
    r_ohm: float
    sd: float
    observer_sd: float
    known_sd: float
    ratio: float
    ratio_sd: float
    bias: float
    observer_bias: float

    @classmethod
    def of(cls, ones: Sequence[One], at: int) -> "Row":
        """The row for the time `at` of runs of one kind."""
        found = np.array([one.found[at] for one in ones])
        observed = np.array([one.observed[at] for one in ones])
        sd, observer_sd = float(found.std(ddof=1)), float(observed.std(ddof=1))
        # Both come from the same noise. ln of a ratio of normal s.d. of correlation rho varies
        # by (1 - rho²)/(n - 1): the delta method on the bivariate normal's s.d.
        rho = float(np.corrcoef(found, observed)[0, 1])
        cell, t_s = CELLS[ones[0].cell], ones[0].times_s[at]
        true = next(
            item["value"] for item in truth(cell, at_s=[t_s])["truth"]["r_at"]
            if item["t_s"] == t_s
        )  # fmt: skip
        return cls(
            cell=ones[0].cell,
            front_end=ones[0].front_end,
            t_s=t_s,
            n=len(ones),
            r_ohm=true,
            sd=sd,
            observer_sd=observer_sd,
            known_sd=float(np.sqrt(np.mean([one.sd[at] ** 2 for one in ones]))),
            ratio=sd / observer_sd,
            ratio_sd=sd / observer_sd * sqrt(max(0.0, 1.0 - rho**2) / (len(ones) - 1)),
            bias=float(found.mean()) - true,
            observer_bias=float(observed.mean()) - true,
        )


def measured(address: str, designation: str) -> tuple[list[RawStep], Result]:
    """Steps and result of a run on a rig with straight converters and parts as marked."""
    steps = []
    with (
        mock.patch.object(port, "draw_parts", lambda *_, **__: nominal_parts()),
        open_near(address) as rig,
        closing(run(rig, Settings(designation=designation))) as items,
    ):
        for item in items:
            if isinstance(item, RepeatDone):
                steps.append(item.step.raw())
            elif isinstance(item, Finished):
                return steps, item.result
    raise AssertionError("a measurement ends with Finished or an error")


def one(which: tuple[str, str, int]) -> One:
    """Measure a cell at a front end with this seed's noise; let the observer look, too."""
    name, front_end, seed = which
    cell = CELLS[name]
    try:
        steps, result = measured(
            f"virtual://{name}?seed={seed}&{FRONT_ENDS[front_end]}", cell.designation
        )
    except SaglineError as error:
        return One(name, front_end, refused=error.code)
    times_s, found = [REFERENCE_TIME_S], [result.r_ohm.value]
    if result.r_ohmic_ohm is not None:
        times_s.append(result.r_ohmic_ohm.from_s)
        found.append(result.r_ohmic_ohm.value)
    seen = observe(steps, cell, times_s)
    return One(
        name, front_end, tuple(times_s), tuple(found), seen.r_ohm, seen.sd_ohm,
        seen.chi2 / seen.dof,
    )  # fmt: skip


def main() -> int:
    """Run the study; print one row for each cell, front end and time."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--seeds", type=int, default=300)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--cells", default=",".join(CELLS))
    parser.add_argument("--front-ends", default=",".join(FRONT_ENDS))
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    try:
        kinds = [
            (cell, front_end)
            for cell in names(args.cells, CELLS)
            for front_end in names(args.front_ends, FRONT_ENDS)
        ]
    except ValueError as error:
        parser.error(str(error))
    work = [(*kind, seed) for kind in kinds for seed in range(args.seeds)]
    ones = list(spread(one, work, args.jobs))
    rows, refused = [], {}
    for kind in kinds:
        mine = [item for item in ones if (item.cell, item.front_end) == kind]
        good = [item for item in mine if item.refused is None]
        if len(good) < len(mine):
            refused[kind] = {item.refused for item in mine if item.refused}
        # t_f may hang on the run; the runs of the commonest are as many as can be compared.
        times = [item.times_s for item in good]
        if len(good) > 1:
            common = max(set(times), key=times.count)
            good = [item for item in good if item.times_s == common]
            rows += [Row.of(good, at) for at in range(len(common))]
    wrong = [row for row in rows if row.t_s == REFERENCE_TIME_S and row.ratio > MOST]
    if args.json:
        print(json.dumps([asdict(row) for row in rows], indent=2))
        return 1 if wrong else 0
    print("simulated; noise alone; s.d. of r over that of an observer who knows the time constants")
    print("cell      front end  at/s      n    r/ohm      s.d./r  observer  known    ratio")
    for row in rows:
        print(
            f"{row.cell:<9} {row.front_end:<10} {row.t_s:<8.4g} {row.n:<4} {row.r_ohm:<10.5g} "
            f"{row.sd / row.r_ohm:<7.3%} {row.observer_sd / row.r_ohm:<8.3%} "
            f"{row.known_sd / row.r_ohm:<8.3%} {row.ratio:.2f} ± {row.ratio_sd:.2f}  "
            f"bias {row.bias / row.r_ohm:+.3%}, observer {row.observer_bias / row.r_ohm:+.3%}"
        )
    for (cell, front_end), codes in refused.items():
        print(f"refused: {cell} {front_end}: {', '.join(sorted(codes))}")
    for row in wrong:
        print(f"{row.cell} {row.front_end}: {row.ratio:.2f} times", file=sys.stderr)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
