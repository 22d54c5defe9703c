# SPDX-License-Identifier: MIT
"""How often do the 95 % intervals hold the truth, and how wide are they? (simulated)

    python tests/bench/coverage.py [--seeds 200] [--cells lr6,6lr61] [--designated] [--json]

One seed is one rig and one run of noise; the cell stays the same. For each cell
the whole of `Rig.measure` runs once a seed, and the interval is compared with
the true value on the load that was used. Exit status 1 where coverage leaves
90 to 99 %, or where r of the LR6 is wider than 3 %.
"""

import argparse
import json
import sys
from dataclasses import asdict, dataclass

import numpy as np

import sagline
from sagline.virtual.cells import CELLS
from sagline.virtual.truth import truth

LOWEST, HIGHEST = 0.90, 0.99
WIDEST = {"lr6": 0.03}


@dataclass
class Row:
    """What one cell's runs came to. Widths are half intervals over the truth."""

    cell: str
    load_ohm: float
    seeds: int
    emf_coverage: float
    r_coverage: float
    emf_u_rel_mean: float
    r_u_rel_mean: float
    r_u_rel_max: float
    r_bias_in_u: float
    r_error_sd_over_u: float

    def wrong(self) -> list[str]:
        """Return what is out of bounds, in words."""
        found = [
            f"{self.cell}: {name} covered in {value:.1%}"
            for name, value in (("EMF", self.emf_coverage), ("r", self.r_coverage))
            if not LOWEST <= value <= HIGHEST
        ]
        if self.r_u_rel_max > WIDEST.get(self.cell, np.inf):
            found.append(f"{self.cell}: U(r) reaches {self.r_u_rel_max:.2%}")
        return found


def study(name: str, seeds: int, designated: bool) -> Row:
    """Measure one cell with `seeds` rigs."""
    cell = CELLS[name]
    designation = cell.designation if designated else None
    inside, half, errors, u, loads = [], [], [], [], set()
    for seed in range(seeds):
        with sagline.open_rig(f"virtual://{name}?seed={seed}") as rig:
            result = rig.measure(designation=designation)
            load_ohm = min(
                (load.load_ohm for load in rig.profile.loads),
                key=lambda ohm: abs(ohm - result.load_ohm.value),
            )
        loads.add(load_ohm)
        true = truth(cell, load_ohm)["truth"]
        pairs = ((result.emf_v, true["emf_v"]), (result.r_ohm, true["r_at"][0]["value"]))
        inside.append([q.low95 <= value <= q.high95 for q, value in pairs])
        half.append([(q.high95 - q.low95) / 2 / value for q, value in pairs])
        errors.append(pairs[1][0].value - pairs[1][1])
        u.append(pairs[1][0].u)
    assert len(loads) == 1, f"{name} was measured on different loads: {loads}"
    inside, half = np.array(inside), np.array(half)
    errors, u = np.array(errors), np.array(u)
    return Row(
        cell=name,
        load_ohm=loads.pop(),
        seeds=seeds,
        emf_coverage=float(inside[:, 0].mean()),
        r_coverage=float(inside[:, 1].mean()),
        emf_u_rel_mean=float(half[:, 0].mean()),
        r_u_rel_mean=float(half[:, 1].mean()),
        r_u_rel_max=float(half[:, 1].max()),
        r_bias_in_u=float((errors / u).mean()),
        r_error_sd_over_u=float((errors / u).std()),
    )


def main() -> int:
    """Run the study; print one row a cell."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--seeds", type=int, default=200)
    parser.add_argument("--cells", default=",".join(CELLS))
    parser.add_argument("--designated", action="store_true", help="tell the rig the designation")
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    rows = [study(name, args.seeds, args.designated) for name in args.cells.split(",")]
    if args.json:
        print(json.dumps([asdict(row) for row in rows], indent=2))
    else:
        print("simulated; 95 % intervals against the truth")
        print("cell     load    seeds  EMF in  r in    U(E)/E   U(r)/r   (max)   bias/u  sd/u")
        for row in rows:
            print(
                f"{row.cell:<8} {row.load_ohm:<7g} {row.seeds:<6} {row.emf_coverage:<7.1%} "
                f"{row.r_coverage:<7.1%} {row.emf_u_rel_mean:<8.2%} {row.r_u_rel_mean:<8.2%} "
                f"{row.r_u_rel_max:<7.2%} {row.r_bias_in_u:+.3f}  {row.r_error_sd_over_u:.3f}"
            )
    wrong = [text for row in rows for text in row.wrong()]
    print("\n".join(wrong), file=sys.stderr)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
