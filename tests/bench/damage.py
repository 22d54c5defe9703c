# SPDX-License-Identifier: MIT
"""What a bad cable does to measurements: right results, clear errors, time lost. (simulated)

    python tests/bench/damage.py [--runs 1000] [--rates 0.001,0.01,0.05] [--jobs 2] [--json]

One run is one seed: an LR6 measured once on 3.3 ohm with one kind of damage at one rate per
byte, each way. A result is right when every record the host took equals what stands in the
board's memory, integer for integer, and what the board was told equals what the host asked.
Time lost is virtual time beyond that of the same seed on a sound cable. Exit status 1 where
one result is wrong, one error is not a clear one, or a load stayed on.
"""

import argparse
import json
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, field

import numpy as np

import sagline
from sagline.device import rig as rig_module
from sagline.device.record import fetch_points
from sagline.errors import SaglineError
from sagline.virtual.faults import BYTE_FAULTS

LOAD_OHM = 3.3
# One step and the looks before it take about this long where nothing is damaged.
CHUNK_RUNS = 25


@dataclass
class Row:
    """What `runs` measurements with one kind of damage came to."""

    fault: str
    rate: float
    runs: int = 0
    right: int = 0
    wrong: int = 0
    unclear: int = 0
    left_on: int = 0
    errors: Counter[str] = field(default_factory=Counter)
    lost_s: list[float] = field(default_factory=list)

    def add(self, other: "Row") -> None:
        """Take another row's runs in."""
        for name in ("runs", "right", "wrong", "unclear", "left_on"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.errors += other.errors
        self.lost_s += other.lost_s


class Witness:
    """Looks at the board's memory beside the wire."""

    def __init__(self) -> None:
        self.differences = 0
        self.steps = 0

    def fetch(self, link):
        """Fetch the record over the wire and compare it with the board's own."""
        taken = fetch_points(link)
        sampler = link._port.board.engine.sampler
        own = [sampler.point(index) for index in range(sampler.count)]
        self.steps += 1
        self.differences += not np.array_equal(taken, np.array(own))
        return taken


def measure(address: str) -> tuple[str, float, bool]:
    """Return ("right", "wrong", "unclear" or the error's code), virtual seconds, load left on."""
    witness = Witness()
    rig_module.fetch_points = witness.fetch
    rig = None
    try:
        with sagline.open_rig(address) as rig:
            result = rig.measure(designation="LR6", load_ohm=LOAD_OHM, repeats=1)
            engine = rig._link._port.board.engine
            asked = result.load_ohm.value, result.conditions.on_s
            ran_s = engine.segments[1][1] * 1e-3
        sound = witness.steps and not witness.differences
        sound = sound and abs(asked[1] - ran_s) < 1e-2 and abs(asked[0] - LOAD_OHM) < 0.2
        outcome = "right" if sound else "wrong"
    except SaglineError as error:
        outcome = error.code if error.message and error.remedy else "unclear"
    except Exception as error:
        outcome = f"unclear: {error!r}"
    if rig is None:
        return outcome, 0.0, False
    port = rig._link._port
    # Past the end of its session and of any pulse, the board is on its own.
    port.is_open = True
    port.run_for(30_000_000)
    return outcome, port.clock.now_s() - 30.0, bool(port.hardware.conducting())


def part(fault: str, rate: float, seeds: range) -> Row:
    """Run some seeds of one row."""
    row = Row(fault, rate)
    for seed in seeds:
        address = f"virtual://lr6?seed={seed}"
        outcome, taken_s, left_on = measure(f"{address}&fault={fault}:{rate:g}")
        row.runs += 1
        row.left_on += left_on
        if outcome == "right":
            row.right += 1
            _, sound_s, _ = measure(address)
            row.lost_s.append(taken_s - sound_s)
        elif outcome == "wrong":
            row.wrong += 1
        elif outcome.startswith("unclear"):
            row.unclear += 1
            print(f"{fault}:{rate:g} seed {seed}: {outcome}", file=sys.stderr)
        else:
            row.errors[outcome] += 1
    return row


def main() -> int:
    """Run the study and print its table."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--runs", type=int, default=1000)
    parser.add_argument("--rates", default="0.001,0.01,0.05")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    rates = [float(text) for text in args.rates.split(",")]
    rows = {(fault, rate): Row(fault, rate) for rate in rates for fault in BYTE_FAULTS}
    with ProcessPoolExecutor(args.jobs) as pool:
        parts = [
            pool.submit(part, *key, range(first, min(first + CHUNK_RUNS, args.runs)))
            for key in rows
            for first in range(0, args.runs, CHUNK_RUNS)
        ]
        for done in parts:
            found = done.result()
            rows[found.fault, found.rate].add(found)
    if args.json:
        print(json.dumps([asdict(row) for row in rows.values()]))
    else:
        _print_table(list(rows.values()))
    bad = sum(row.wrong + row.unclear + row.left_on for row in rows.values())
    return int(bad > 0)


def _print_table(rows: list[Row]) -> None:
    print(
        "| damage, per byte | right | clear errors | wrong | load left on | time lost: mean, max |"
    )
    print("|---|---|---|---|---|---|")
    for row in rows:
        errors = ", ".join(f"{count} {code}" for code, count in row.errors.most_common()) or "0"
        lost = f"{np.mean(row.lost_s):.2f} s, {max(row.lost_s):.2f} s" if row.lost_s else "-"
        print(
            f"| {row.fault} {row.rate:g} | {row.right} of {row.runs} | {errors} "
            f"| {row.wrong + row.unclear} | {row.left_on} | {lost} |"
        )


if __name__ == "__main__":
    sys.exit(main())
