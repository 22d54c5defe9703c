# SPDX-License-Identifier: MIT
"""How the log bears 1 000, 10 000 and 100 000 records: the time of what people do with it.

    python tests/bench/biglog.py [--sizes 1000,10000,100000] [--tries 5]

The records are real documents of one virtual run with other ids, labels, designations and times;
to build them soon, 99 in 100 have one step of 20 points, one in 100 has its five steps whole.
Prints the median time and its ratio to the smallest log. Simulated.
"""

import argparse
import random
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median
from typing import Any

from uuid6 import uuid7

import sagline
from sagline.device.procedure import run
from sagline.device.progress import Finished, Planned, RepeatDone
from sagline.device.settings import Settings
from sagline.log.listing import Filters, Row, list_runs
from sagline.log.rows import put_ending, put_record, put_result, put_step
from sagline.log.store import Log
from sagline.records import Ending, Record
from sagline.results import Result
from sagline_board.commands import POINT_FIELDS

SINCE = datetime(2024, 1, 1, tzinfo=UTC)
APART = timedelta(minutes=7)
DESIGNATIONS = ("LR6", "LR03", "6LR61", "CR2032")
WHOLE_EVERY = 100
FEW = 20
IN_ONE_GO = 1000


def one_run() -> tuple[Record, Ending, Result]:
    """Return what one virtual run leaves."""
    record, steps = None, []
    with sagline.open_rig("virtual://lr6?seed=4") as rig:
        for item in run(rig, Settings(designation="LR6", repeats=5)):
            match item:
                case Planned():
                    record = item.record
                case RepeatDone():
                    steps.append(item.step)
                case Finished(result, ending):
                    assert record is not None
                    return record.with_steps(steps, ending), ending, result
    raise AssertionError("a measurement ends with Finished or an error")


def short(record: Record) -> Record:
    """Return the record with one step of few points."""
    step = record.steps[0]
    points = step.points.model_copy(
        update={name: getattr(step.points, name)[:FEW] for name in POINT_FIELDS}
    )
    return record.with_steps([step.model_copy(update={"points": points})], record.ending)


def build(path: Path, count: int) -> list[str]:
    """Make a log of `count` records; return their ids."""
    whole, ending, result = one_run()
    few = short(whole)
    ids = []
    with Log(path, write=True) as log:
        for first in range(0, count, IN_ONE_GO):
            with log.writing() as db:
                for number in range(first, min(first + IN_ONE_GO, count)):
                    changed = {
                        "id": str(uuid7()),
                        "started_at": SINCE + number * APART,
                        "label": f"cell-{number:06}",
                        "designation": DESIGNATIONS[number % len(DESIGNATIONS)],
                    }
                    kind = few if number % WHOLE_EVERY else whole
                    record = kind.model_copy(update=changed)
                    put_record(db, record)
                    for step in record.steps:
                        put_step(db, record.id, step)
                    put_ending(db, record.id, ending)
                    put_result(
                        db, record.id, result.model_copy(update={**changed, "id": str(uuid7())})
                    )
                    ids.append(record.id)
    return ids


def timed(act: Callable[[], object], tries: int) -> float:
    """Return the median time of `act`, in s."""
    lasts = []
    for _ in range(tries):
        began_s = time.perf_counter()
        act()
        lasts.append(time.perf_counter() - began_s)
    return median(lasts)


def study(path: Path, count: int, tries: int) -> dict[str, float]:
    """Build a log and return the time of each use, in s."""
    began_s = time.perf_counter()
    ids = build(path, count)
    found = {"build": time.perf_counter() - began_s}
    chance = random.Random(1)
    whole, ending, result = one_run()

    def rows(**filters: Any) -> list[Row]:
        with Log(path) as log:
            return list_runs(log, Filters(**filters), 50)

    def show() -> None:
        with Log(path) as log:
            record_id = ids[chance.randrange(count) // WHOLE_EVERY * WHOLE_EVERY]
            log.record(record_id)
            log.results(record_id)

    def find() -> None:
        with Log(path) as log:
            record_id = chance.choice(ids)
            if log.find(record_id[-8:]) != record_id:
                raise AssertionError("another record was found")

    def new_run() -> None:
        with Log(path, write=True) as log:
            record = whole.model_copy(update={"id": str(uuid7()), "steps": [], "ending": None})
            log.begin(record)
            log.end(record.id, ending, result.model_copy(update={"id": str(uuid7())}))

    label = f"cell-{count // 2:06}"
    since, until = (SINCE + APART * (count // 2 + shift) for shift in (-100, 100))
    uses = {
        "the newest 50": rows,
        "by a part of the label": lambda: rows(label=label[3:]),
        "by a label that none has": lambda: rows(label="nowhere"),
        "by designation and time": lambda: rows(designation="LR6", since=since, until=until),
        "by designation that none has": lambda: rows(designation="LR20"),
        "show a whole one": show,
        "find by the end of an id": find,
        "begin and end a run": new_run,
    }
    for name, act in uses.items():
        found[name] = timed(act, tries)
    found["size in MB"] = path.stat().st_size / 1e6
    return found


def main() -> None:
    """Build, time, print."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--sizes", default="1000,10000,100000", metavar="N,...")
    parser.add_argument("--tries", type=int, default=5)
    args = parser.parse_args()
    sizes = [int(size) for size in args.sizes.split(",")]
    with tempfile.TemporaryDirectory(prefix="sagline-biglog-") as folder:
        studies = [study(Path(folder) / f"{size}.sqlite", size, args.tries) for size in sizes]
    print(f"{'':30}" + "".join(f"{size:>20,}" for size in sizes))
    for name, first in studies[0].items():
        cells = [
            f"{found[name]:9.1f}{'   ' if name == 'size in MB' else ' s '}"
            if name in ("build", "size in MB")
            else f"{found[name] * 1e3:9.2f} ms"
            for found in studies
        ]
        ratios = [f"(×{found[name] / first:.1f})" for found in studies]
        line = "".join(f"{cell:>12}{ratio:>8}" for cell, ratio in zip(cells, ratios, strict=True))
        print(f"{name:30}{line}")


if __name__ == "__main__":
    main()
