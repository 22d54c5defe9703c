# SPDX-License-Identifier: MIT
"""The host killed at any moment of a run: what was told as done is in the log.

    python tests/bench/killed.py [--kills 2000] [--seed 1] [--fresh 8] [--aimed 0.5]

Each trial forks from this warmed process, measures on the virtual rig into a log and says over a
pipe what its keeper has passed on; SIGKILL (signal 9 of POSIX: nothing of the process runs after
it) ends it. A part of the kills is aimed: within one and a half times what a write, the opening
or the closing takes, from when it has begun. One trial in `--fresh` gets a log of its own, so
that making one is hit too; the others share one. After most kills the log is opened, in turn for
reading and for writing first, and compared; after the rest the next trial finds it as it was
left. At the end everything is compared once more.

Exit status 1 where anything told is missing or other than told, or a log is not whole. A killed
process is not a power cut: the operating system still writes what it has been given.
"""

import argparse
import hashlib
import os
import random
import select
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Generator, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median

from pydantic import BaseModel

import sagline
from sagline.device.procedure import run
from sagline.device.progress import Finished, Planned, Progress, RepeatDone
from sagline.device.settings import Settings
from sagline.errors import SaglineError
from sagline.log.keeper import Keeper
from sagline.log.store import Log

REPEATS = 5
INTEGRITY_EVERY = 50
UNREAD = 0.2
LEAST_AIM_S = 2e-3
PHASES = {
    "": "before the log is opened",
    "open": "while the log is opened or made",
    "opened": "before the record",
    "write record": "while the record is written",
    "record": "during the first step",
    "write repeat": "while a repeat is written",
    "repeat": "during a later step",
    "last repeat": "after the last repeat",
    "write result": "while the result is written",
    "result": "while the log is closed",
}


@dataclass
class Told:
    """What one run has said: the hash of each thing that it was told is done."""

    record_id: str = ""
    steps: dict[int, str] = field(default_factory=dict)
    result: str = ""
    phase: str = ""
    trouble: str = ""

    def hear(self, line: str) -> None:
        """Take one line of the run's."""
        what, *rest = line.split("\t")
        self.phase = what
        match what, rest:
            case "record", [record_id]:
                self.record_id = record_id
            case (("repeat" | "last repeat"), [n, digest]):
                self.steps[int(n)] = digest
            case "result", [digest]:
                self.result = digest
            case "trouble", [words]:
                self.trouble = words


def digest(document: BaseModel) -> str:
    """Return a hash of everything in `document`."""
    return hashlib.sha256(document.model_dump_json(by_alias=True).encode()).hexdigest()


def measure(path: Path, seed: int, tell: Callable[..., None]) -> None:
    """Measure into the log at `path`, and tell what the keeper passes on, and when it writes."""

    def announced(progress: Iterator[Progress]) -> Generator[Progress, None, None]:
        tell("opened")
        for item in progress:
            match item:
                case Planned():
                    tell("write record")
                case RepeatDone():
                    tell("write repeat")
                case Finished():
                    tell("write result")
            yield item

    keeper = Keeper(path)
    with sagline.open_rig(f"virtual://lr6?seed={seed}") as rig:
        tell("open")
        progress = run(rig, Settings(designation="LR6", repeats=REPEATS, label=f"trial {seed}"))
        for item in keeper.keep(announced(progress)):
            match item:
                case Planned(_, record):
                    tell("record", record.id)
                case RepeatDone():
                    name = "last repeat" if item.repeat == item.repeats else "repeat"
                    tell(name, item.repeat, digest(item.step))
                case Finished(result, _):
                    tell("result", digest(result))
    if keeper.failure is not None:
        tell("trouble", f"{keeper.failure.code}: {keeper.failure.message}")


def differences(log: Log, told: Told) -> list[str]:
    """Return what of `told` the log has not, and what is in it that cannot be."""
    if not told.record_id:
        return []
    known = log.db.execute("SELECT 1 FROM record WHERE id = ?", (told.record_id,)).fetchone()
    if known is None:
        return [f"record {told.record_id} is missing, with {len(told.steps)} repeats"]
    record, results = log.record(told.record_id), log.results(told.record_id)
    held = {step.n: digest(step) for step in record.steps}
    found = [
        f"repeat {n} of {told.record_id} is {'other than told' if n in held else 'missing'}"
        for n, told_digest in told.steps.items()
        if held.get(n) != told_digest
    ]
    if list(held) != list(range(1, len(held) + 1)) or len(held) > len(told.steps) + 1:
        found.append(f"{told.record_id} holds the repeats {list(held)}")
    if told.result and [digest(result) for result in results] != [told.result]:
        found.append(f"the result of {told.record_id} is missing or other than told")
    done = bool(told.result) or bool(results)
    if (record.state, len(results)) != (("complete", 1) if done else ("interrupted", 0)):
        found.append(f"{told.record_id} is {record.state} with {len(results)} results")
    return found


def untold(log: Log, told: Told) -> bool:
    """Whether the log holds more of a run than it came to tell."""
    if not told.record_id:
        return False
    record = log.record(told.record_id)
    return len(record.steps) > len(told.steps) or (record.ending is not None and not told.result)


def trial(path: Path, seed: int, kill_when: "KillWhen") -> tuple[Told, bool]:
    """Run one measurement in a process of its own; return what it told and whether it was killed.

    `kill_when(told)` is asked at each line for the delay in s after which to kill, or None.
    """
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)

        def tell(*words: object) -> None:
            os.write(writing, ("\t".join(map(str, words)) + "\n").encode())

        try:
            measure(path, seed, tell)
        except BaseException as error:
            tell("trouble", f"{type(error).__name__}: {error}".replace("\n", " "))
        finally:
            os._exit(0)
    os.close(writing)
    told = Told()
    text = b""
    deadline_s = _later(kill_when(told))
    ended = False
    while deadline_s is None or time.monotonic() < deadline_s:
        left_s = None if deadline_s is None else max(0.0, deadline_s - time.monotonic())
        if not select.select([reading], [], [], left_s)[0]:
            break
        data = os.read(reading, 65536)
        if not data:
            ended = True
            break
        *lines, text = (text + data).split(b"\n")
        for line in lines:
            told.hear(line.decode())
            if deadline_s is None:
                deadline_s = _later(kill_when(told))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    # What it had said before it died counts as told; a line is written whole or not at all.
    while data := os.read(reading, 65536):
        text += data
    for line in text.split(b"\n")[:-1]:
        told.hear(line.decode())
    os.close(reading)
    return told, not ended


KillWhen = Callable[[Told], float | None]


def _later(delay_s: float | None) -> float | None:
    return None if delay_s is None else time.monotonic() + delay_s


def paces(path: Path) -> dict[str, float]:
    """Return how long a run into the log at `path` stays in a phase, in s; "run": in all."""
    marks = [("", time.monotonic())]

    def listen(told: Told) -> None:
        marks.append((told.phase, time.monotonic()))

    told, killed = trial(path, 1, listen)
    if killed or told.trouble or not told.result:
        raise SystemExit(f"a run that is not killed does not end well: {told}")
    ends_s = [*(at_s for _, at_s in marks[1:]), time.monotonic()]
    lasts: dict[str, list[float]] = {}
    for (phase, at_s), end_s in zip(marks, ends_s, strict=True):
        lasts.setdefault(phase, []).append(end_s - at_s)
    return {phase: median(some) for phase, some in lasts.items()} | {
        "run": ends_s[-1] - marks[0][1]
    }


class Study:
    """Kills, and what came of them."""

    def __init__(self, folder: Path, seed: int, fresh: int, aimed: float) -> None:
        self.chance = random.Random(seed)
        self.folder = folder
        self.fresh, self.aimed_share = fresh, aimed
        self.kills: Counter[str] = Counter()
        self.aimed: Counter[str] = Counter()
        self.ahead: Counter[str] = Counter()
        self.seen: Counter[str] = Counter()
        self.found: list[str] = []
        self.told: dict[Path, list[Told]] = {}
        self.unread: dict[Path, list[Told]] = {}
        # A log that is made by it, and one that was there.
        self.paces = {fresh: paces(folder / "pace.sqlite") for fresh in (True, False)}

    def kill(self, number: int) -> None:
        """Make one trial, and compare."""
        fresh = self.fresh > 0 and number % self.fresh == 0
        path = self.folder / (f"fresh{number}/log.sqlite" if fresh else "shared.sqlite")
        is_aimed = self.chance.random() < self.aimed_share
        told, killed = trial(path, number, self.aim(is_aimed, fresh))
        if told.trouble:
            self.found.append(f"trial {number}: {told.trouble}")
        if not killed:
            self.seen["ended before the kill"] += 1
        else:
            self.kills[told.phase] += 1
            self.aimed[told.phase] += is_aimed
        self.told.setdefault(path, []).append(told)
        self.unread.setdefault(path, []).append(told)
        if fresh or self.chance.random() > UNREAD:
            self.compare(path, number)

    def aim(self, is_aimed: bool, fresh: bool) -> KillWhen:
        """Return when to kill: at any moment, or soon after something begins to be written."""
        if not is_aimed:
            delay_s = self.chance.uniform(0.0, self.paces[fresh]["run"])
            return lambda _: delay_s
        targets = ["open", "write record", "write result", "result"]
        target = self.chance.choice([*targets, *(str(n) for n in range(1, REPEATS + 1))])
        if fresh and self.chance.random() < 0.5:
            target = "open"
        phase = "write repeat" if target.isdigit() else target
        delay_s = self.chance.uniform(0.0, max(LEAST_AIM_S, 1.5 * self.paces[fresh][phase]))

        def when(told: Told) -> float | None:
            at = str(len(told.steps) + 1) if told.phase == "write repeat" else told.phase
            return delay_s if at == target else None

        return when

    def compare(self, path: Path, number: int) -> None:
        """Open the log in both ways and look for what it was told to hold."""
        runs = self.unread.pop(path)
        for write in (False, True) if number % 2 else (True, False):
            self.look(path, runs, write=write, integrity=number % INTEGRITY_EVERY == 0)
        with suppress(SaglineError), Log(path) as log:
            for told in runs:
                self.ahead[told.phase] += untold(log, told)

    def look(self, path: Path, runs: list[Told], *, write: bool, integrity: bool) -> None:
        """Compare the log with what the runs told."""
        if not write and not any(told.record_id for told in runs):
            # There may be no log yet, which is said by an error.
            return
        self.seen[f"opened for {'writing' if write else 'reading'}"] += 1
        try:
            with Log(path, write=write) as log:
                for told in runs:
                    self.found += differences(log, told)
                if integrity:
                    self.seen["integrity checks"] += 1
                    said = log.db.execute("PRAGMA integrity_check").fetchall()
                    said += log.db.execute("PRAGMA foreign_key_check").fetchall()
                    if said != [("ok",)]:
                        self.found.append(f"{path}: {said}")
        except SaglineError as error:
            self.found.append(f"{path} does not open: {error.code}: {error.message}")

    def finish(self) -> None:
        """Compare everything that was ever told, once more."""
        for path, runs in self.told.items():
            self.look(path, runs, write=True, integrity=True)
        runs = [told for some in self.told.values() for told in some]
        self.seen["logs"] = len(self.told)
        self.seen["records told"] = sum(bool(told.record_id) for told in runs)
        self.seen["repeats told"] = sum(len(told.steps) for told in runs)
        self.seen["results told"] = sum(bool(told.result) for told in runs)

    def table(self) -> Iterator[str]:
        """Say what came of it, line by line."""
        yield f"{'killed':36}{'kills':>7}{'aimed':>7}{'in the log before told':>24}"
        for phase, words in PHASES.items():
            counts = self.kills[phase], self.aimed[phase], self.ahead[phase]
            yield f"{words:36}{counts[0]:7}{counts[1]:7}{counts[2]:24}"
        yield f"{'all':36}{self.kills.total():7}{self.aimed.total():7}{self.ahead.total():24}"
        yield ", ".join(f"{words}: {count}" for words, count in sorted(self.seen.items()))
        yield f"lost or wrong: {len(self.found)}"
        yield from self.found[:50]


def main() -> int:
    """Kill, compare, print. Returns 1 where anything was lost."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--kills", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--fresh", type=int, default=8, metavar="N", help="0: never")
    parser.add_argument("--aimed", type=float, default=0.5, metavar="SHARE")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="sagline-killed-") as folder:
        # Warm this process, from which each trial is forked, without leaving a log open.
        measure(Path(folder) / "warm.sqlite", 1, lambda *_: None)
        study = Study(Path(folder), args.seed, args.fresh, args.aimed)
        number = 0
        while study.kills.total() < args.kills:
            number += 1
            study.kill(number)
        study.finish()
    for fresh, lasts in study.paces.items():
        words = ", ".join(f"{phase or 'start'} {1e3 * at_s:.1f}" for phase, at_s in lasts.items())
        print(f"{'a log made' if fresh else 'a log there'}, ms: {words}; simulated rig")
    print("\n".join(study.table()))
    return 1 if study.found else 0


if __name__ == "__main__":
    sys.exit(main())
