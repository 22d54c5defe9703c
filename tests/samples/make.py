# SPDX-License-Identifier: MIT
"""Makes the samples of what this version stores, on the virtual rig.

    python tests/samples/make.py run|file

log-v3.sqlite: four runs; one relabelled, one with a note, one deleted (of a single repeat), one
interrupted; some with the one converter, some with the other. And readings by hand.
hand-v1.json and hand-result-v1.json: these, as exported. record-v1.json and result-v1.json were
made with log-v1.sqlite: its first run. file-v1.json, file-result-v1.json: a file that was analysed.

Samples of a version that was released are never made again: a later version must read what
that one wrote, so nothing that is there is overwritten. A new version of a document or of the
log gets further samples, with its number in their names.
"""

import json
import sys
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

import sagline
from analysis.foreign_records import Recorder, as_csv
from sagline.cli import main
from sagline.computing import result_of
from sagline.device.procedure import run
from sagline.device.progress import RepeatDone
from sagline.device.settings import Settings
from sagline.filecsv import parse
from sagline.filerecord import FileOptions, FileRecord
from sagline.log.keeper import Keeper
from sagline.log.listing import Filters, list_runs
from sagline.log.store import Log

HERE = Path(__file__).parent
LOG = HERE / "log-v3.sqlite"


def measure(address: str, *, interrupt_after: int | None = None, **settings) -> None:
    """Keep one run; with `interrupt_after` as it is where the computer dies after that repeat."""
    keeper = Keeper(LOG)
    with sagline.open_rig(address) as rig:
        for item in keeper.keep(run(rig, Settings(**settings))):
            if isinstance(item, RepeatDone) and item.repeat == interrupt_after:
                # Whoever leaves now finds no log to write an ending to.
                keeper._record = None
                return
    if keeper.failure is not None:
        raise keeper.failure


def make() -> None:
    """Write every sample. Raises FileExistsError where one is there."""
    exported = (("--raw", HERE / "hand-v1.json"), ("--json", HERE / "hand-result-v1.json"))
    if LOG.exists():
        raise FileExistsError(f"{LOG} is there; samples are never made again")
    measure(
        "virtual://lr6?seed=11&adc=ads1115", designation="LR6", repeats=2, times_s=(0.1, 0.2),
        label="kitchen 3", operator="A. Volta", temperature_c=21.5,
    )  # fmt: skip
    measure("virtual://6lr61?seed=12&adc=onboard", designation="6LR61", repeats=2, label="smoke")
    measure("virtual://lr6-worn?seed=13&adc=ads1115", designation="LR6", repeats=1, label="worn")
    measure(
        "virtual://lr6?seed=14&adc=ads1115", designation="LR6", repeats=3, label="cut off",
        interrupt_after=1,
    )  # fmt: skip
    # Lengths on a wire whose volts per centimetre nobody knew: r without E.
    typed = "--open 76.3 --open 76.4 --loaded 64.8 --loaded 64.7 --load 9.5 --null-width 0.2"
    readings = [*typed.split(), "--label", "by hand", "--closed-s", "2", "--log", str(LOG)]
    if status := main(["hand", "slidewire", *readings]):
        sys.exit(status)
    with Log(LOG) as log:
        ids = {row.label: row.id for row in list_runs(log, Filters())}
    for form, path in exported:
        if path.exists():
            continue
        command = ["log", "export", ids["by hand"], form, "--log", str(LOG), "--out", str(path)]
        if status := main(command):
            sys.exit(status)
    # Last, as whoever closes it after writing leaves one file, with nothing waiting beside it.
    with Log(LOG, write=True) as log:
        log.mark([ids["smoke"]], "label", "smoke alarm")
        log.mark([ids["worn"]], "deleted", "yes")
        log.mark([ids["kitchen 3"]], "note", "from the torch in the hall")


def make_file() -> None:
    """Write a record of a file, and its result. Raises FileExistsError where one is there."""
    recorder = Recorder(readings_per_s=200.0, rest_s=1.0, recovery_s=0.3, steps=3)
    read = recorder.columns(np.random.default_rng(15))
    columns = {name: read[name] for name in ("time_s", "sense_v", "force_v")}
    options = {"u_ohm": 0.005, "u_volts_rel": 0.002, "u_volts": 3e-4}
    record = FileRecord.of(
        parse(as_csv(columns, 5, load_ohm=3.3, temperature_c=21.5)), "bench.csv",
        datetime(2026, 11, 1, tzinfo=UTC), FileOptions.model_validate(options),
        label="file 1", designation="LR6", operator="A. Volta", temperature_c=None,
    )  # fmt: skip
    for name, document in (("file-v1", record), ("file-result-v1", result_of(record))):
        with open(HERE / f"{name}.json", "x", encoding="utf-8") as file:
            file.write(json.dumps(document.to_dict()) + "\n")


if __name__ == "__main__":
    {"run": make, "file": make_file}[sys.argv[1]]()
