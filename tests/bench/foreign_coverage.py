# SPDX-License-Identifier: MIT
"""Foreign records of an analytic cell: do the 95 % intervals hold r and E, how wide? (simulated)

    python tests/bench/foreign_coverage.py [--draws 300] [--kinds single,five,...]

Each draw is an instrument whose scales, zeros and load are drawn with the standard uncertainties
that are stated to the analysis, a cell, and the noise. Kinds: `single` and `five` steps with a
current, `force` across a load, `coarse` (100 readings a second), `in step` (the load goes on at
one phase of the readings), `unstated` (a perfect instrument, nothing stated). r(0.1 s), r(t_f)
and E are compared with the closed form.

Exit status 1 where a row covers so rarely that 95 % is not believed.
"""

import argparse
import sys
from pathlib import Path

import numpy as np
from scipy.stats import binom

sys.path.insert(0, str(Path(__file__).parents[1]))

from analysis.analytic_cell import Cell
from analysis.foreign_records import Recorder
from sagline.analysis.foreign.analyse import analyse
from sagline.analysis.foreign.table import Stated

U_VOLTS_REL, U_VOLTS, U_AMPS_REL, U_OHM_REL = 1e-3, 2e-4, 2e-3, 1e-3
UNLUCKY = 1e-3
STATED = Stated(U_OHM_REL * 3.3, U_VOLTS_REL, U_VOLTS, U_AMPS_REL)
KINDS = {
    "single": (Recorder(), False, STATED),
    "five": (Recorder(steps=5), False, STATED),
    "force": (Recorder(steps=5), True, STATED),
    "coarse": (Recorder(readings_per_s=100.0), False, STATED),
    "in step": (Recorder(steps=5, jitter=0.0, in_step=True), False, STATED),
    "unstated": (Recorder(noise_v=1e-3, noise_a=5e-4), False, Stated()),
    "unstated five": (Recorder(steps=5, noise_v=1e-3, noise_a=5e-4), False, Stated()),
}


def drawn_cell(rng: np.random.Generator) -> Cell:
    """A cell of the commoner sizes."""
    ohmic_ohm = float(np.exp(rng.uniform(np.log(0.05), np.log(0.5))))
    return Cell(
        emf_v=float(rng.uniform(1.2, 3.7)),
        ohmic_ohm=ohmic_ohm,
        pair_ohm=ohmic_ohm * float(rng.uniform(0.1, 0.6)),
        tau_s=float(np.exp(rng.uniform(np.log(0.004), np.log(0.3)))),
    )


def study(kind: str, draws: int) -> bool:
    """Print a line for each figure; return whether all are believed."""
    base, by_force, stated = KINDS[kind]
    errors: dict[str, list[tuple[float, float, float, float]]] = {}
    refused = 0
    for draw in range(draws):
        rng = np.random.default_rng([draw, list(KINDS).index(kind)])
        cell, u = drawn_cell(rng), rng.standard_normal(6)
        recorder = base
        if stated.u_ohm is not None:
            recorder = base.with_(
                volts_rel=U_VOLTS_REL * u[0],
                volts=U_VOLTS * u[1],
                force_rel=U_VOLTS_REL * u[2],
                force_v=U_VOLTS * u[3],
                amps_rel=U_AMPS_REL * u[4],
                load_rel=U_OHM_REL * u[5],
                amps=0.01,
            )
        table = recorder.table(rng, cell, by_force)
        table = type(table)(**{**vars(table), "stated": stated})
        try:
            found = analyse(table)
        except Exception as error:
            refused += 1
            print(f"  draw {draw}: {type(error).__name__} {error}")
            continue
        first_s = found.ohmic[0]
        for name, figure, truth in (
            ("r(0.1 s)", found.r_at[0][1], recorder.true_r_ohm(0.1, cell)),
            ("r(t_f)", found.ohmic[1], recorder.true_r_ohm(first_s, cell)),
            ("E", found.emf, cell.emf_v),
        ):
            assert figure.low95 is not None and figure.high95 is not None and figure.u
            held = figure.low95 <= truth <= figure.high95
            half = (figure.high95 - figure.low95) / 2.0 / truth
            z = (figure.value - truth) / figure.u
            errors.setdefault(name, []).append((held, half, z, figure.value / truth - 1.0))
    believed = refused == 0
    for name, rows in errors.items():
        held, half, z, error = np.array(rows, dtype=float).T
        enough = held.sum() >= binom.ppf(UNLUCKY, held.size, 0.95)
        believed &= bool(enough)
        print(
            f"{kind:<14} {name:<9} {held.mean():6.1%} of {held.size}  U/true {half.mean():8.3%}  "
            f"error {error.mean():+9.4%} s.d. {error.std():8.4%}  z {z.mean():+5.2f} "
            f"s.d. {z.std():4.2f}{'' if enough else '  too rarely'}",
            flush=True,
        )
    return believed


def main() -> int:
    """Run the study; print its table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--draws", type=int, default=300)
    parser.add_argument("--kinds", default=",".join(KINDS))
    args = parser.parse_args()
    return 0 if all([study(kind, args.draws) for kind in args.kinds.split(",")]) else 1


if __name__ == "__main__":
    sys.exit(main())
