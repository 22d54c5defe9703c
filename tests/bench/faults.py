# SPDX-License-Identifier: MIT
"""What the host says to every fault of the virtual rig: one row each.

python tests/bench/faults.py [--cell lr6] [--adc both] [--seed 3]
"""

import argparse

import sagline
from sagline.errors import SaglineError
from sagline.virtual.cells import CELLS
from sagline.virtual.faults import BYTE_FAULTS, NAMES
from sagline.virtual.truth import truth

RATES = (1e-4, 1e-3)


def main() -> None:
    """Measure once with each fault; print exit status, code and message."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--cell", default="lr6", choices=CELLS)
    parser.add_argument("--adc", default="both", choices=("both", "ads1115", "onboard"))
    parser.add_argument("--seed", type=int, default=3)
    args = parser.parse_args()
    faults = [name for name in NAMES if name not in BYTE_FAULTS]
    faults += ["mosfet_on:15", "mosfet_on:68", "mosfet_on:470", "removed:4", "reset:2"]
    faults += [f"{name}:{rate:g}" for name in BYTE_FAULTS for rate in RATES]
    print(f"{'fault':<22} exit {'code':<16} message")
    for fault in ["", *faults]:
        address = f"virtual://{args.cell}?seed={args.seed}&adc={args.adc}&fault={fault}"
        status, code, message, left_on = _outcome(address, args.cell)
        note = "  LOAD LEFT ON" if left_on else ""
        print(f"{fault or '(none)':<22} {status:>4} {code:<16} {message}{note}")


def _outcome(address: str, cell: str) -> tuple[int, str, str, bool]:
    rig = None
    try:
        with sagline.open_rig(address) as rig:
            result = rig.measure(designation=CELLS[cell].designation)
    except SaglineError as error:
        status, code, message = error.exit_status, error.code, error.message
    else:
        true = truth(CELLS[cell], result.load_ohm.value)["truth"]["r_at"][0]["value"]
        r = result.r_ohm
        # One repeat alone has no interval.
        known = r.low95 is not None and r.high95 is not None
        right = known and r.low95 < true < r.high95
        status, code = 0, "right" if right else "WRONG" if known else "no interval"
        kept = sum(row.kept for row in result.repeats)
        message = f"r {r.value:.4f}, truth {true:.4f} ohm, {kept} of {len(result.repeats)} repeats"
    left_on = rig is not None and bool(rig._link._port.hardware.conducting())
    return status, code, message, left_on


if __name__ == "__main__":
    main()
