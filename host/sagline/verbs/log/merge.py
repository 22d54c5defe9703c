# SPDX-License-Identifier: MIT
"""`sagline log merge`: takes another log's runs into this one."""

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from sagline.verbs.log.common import add_verb, log_path

CHOICES = ("same", "apart")


def add(verbs: Any) -> None:
    """Declare the verb."""
    parser = add_verb(
        verbs,
        "merge",
        "take another log's runs into this one",
        "Take another log's runs, results and labels into this one. What is there already is "
        "left as it is, so merging twice changes nothing. A label that both logs have may mean "
        "one cell or two: that is asked.",
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="the other log")
    parser.add_argument(
        "--equal-labels", choices=CHOICES, metavar="same|apart",
        help="same: one cell, keep its label; apart: another cell, its label gets the file's name",
    )  # fmt: skip
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Merge and tell how much came. Returns the exit status."""
    from sagline.errors import UsageError
    from sagline.log.merging import equal_labels, has_simulated, labels_of, merge
    from sagline.log.store import Log
    from sagline.wording import counted

    # A file that is no log is told before a log is made to take it in.
    with Log(args.file) as other:
        taken = labels_of(other)
        if has_simulated(other) and not (args.demo or args.log):
            raise UsageError(
                "simulated_runs",
                f"{args.file} has runs of a simulated rig; this is the log of real measurements.",
                "Take them into the demo log with --demo, or into another one with --log FILE.",
            )
    with Log(log_path(args), write=True) as log:
        taken |= labels_of(log)
        renamed = {}
        for label in equal_labels(log, args.file):
            if not _is_same(label, args):
                renamed[label] = _free(label, args.file.stem, taken)
                taken.add(renamed[label])
        merged = merge(log, args.file, renamed)
    if args.json:
        said = {"records": merged.records, "results": merged.results, "marks": merged.marks}
        print(json.dumps({**said, "renamed": renamed}))
        return 0
    runs, results = counted(merged.records, "run"), counted(merged.results, "result")
    print(f"{runs} and {results} came in from {args.file}.")
    for old, new in renamed.items():
        print(f"{old!r} from there is now {new!r}.")
    return 0


def _free(label: str, source: str, taken: set[str]) -> str:
    """Return the label with the other log's name behind it, and a number where that is taken."""
    numbers = ("", *(f" {number}" for number in range(2, len(taken) + 3)))
    return next(name for number in numbers if (name := f"{label} ({source}{number})") not in taken)


def _is_same(label: str, args: argparse.Namespace) -> bool:
    """Whether it means one cell in both logs. Raises UsageError where nobody can be asked."""
    from sagline.errors import UsageError

    if args.equal_labels is not None:
        return args.equal_labels == "same"
    if args.json or not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise UsageError(
            "equal_labels",
            f"Both logs have runs with the label {label!r}.",
            "Say with --equal-labels whether it is the same cell, or another one (apart).",
        )
    while True:
        print(
            f"Both logs have {label!r}. Is it the same cell? [y/n] ", end="", file=sys.stderr,
            flush=True,
        )  # fmt: skip
        answer = sys.stdin.readline()
        if not answer:
            raise UsageError("no_answer", "No answer was given.", "Nothing was merged.")
        if answer.strip().lower() in ("y", "yes", "n", "no"):
            return answer.strip().lower().startswith("y")
