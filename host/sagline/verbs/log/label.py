# SPDX-License-Identifier: MIT
"""`sagline log label`: gives a run another label; the earlier ones stay in the log."""

import argparse
import json
from typing import Any

from sagline.ids import short_id
from sagline.verbs.log.common import add_verb, open_log


def add(verbs: Any) -> None:
    """Declare the verb."""
    parser = add_verb(
        verbs, "label", "give a run another label", "Give a run another label; '' takes it away."
    )
    parser.add_argument("id", metavar="ID", help="the run's or a result's id, or the end of it")
    parser.add_argument("label", metavar="LABEL", help="its new label")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Change the label, and tell what it was. Returns the exit status."""
    from sagline.plaintext import plain_text

    new = plain_text("label", args.label)
    with open_log(args, write=True) as log:
        record_id = log.find(args.id)
        old = log.any_record(record_id).label
        if new != old:
            log.mark([record_id], "label", new)
    if args.json:
        print(json.dumps({"id": record_id, "label": new, "before": old}))
    elif new == old:
        print(f"{short_id(record_id)} has this label already.")
    else:
        print(f"{short_id(record_id)} is now {_named(new)}; it was {_named(old)}.")
    return 0


def _named(label: str | None) -> str:
    return "without a label" if label is None else repr(label)
