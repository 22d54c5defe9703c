# SPDX-License-Identifier: MIT
"""`sagline log delete` and `restore`: a run out of the lists and back; nothing is erased."""

import argparse
import json
from typing import Any

from sagline.ids import short_id
from sagline.verbs.log.common import add_ids, add_verb, log_option, open_log


def add(verbs: Any) -> None:
    """Declare both verbs."""
    for name, help_text in (
        ("delete", "take runs out of the lists; `restore` brings them back"),
        ("restore", "bring deleted runs back"),
    ):
        parser = add_verb(verbs, name, help_text)
        add_ids(parser)
        parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Mark the runs, all or none of them. Returns the exit status."""
    from sagline.log.acts import delete

    deleting = args.verb == "delete"
    with open_log(args, write=True) as log:
        record_ids = list(dict.fromkeys(log.find(given) for given in args.ids))
        done = delete(log, record_ids, restore=not deleting)
    if args.json:
        print(json.dumps({"ids": record_ids, "deleted": deleting}))
        return 0
    known = " ".join(short_id(record_id) for record_id in record_ids)
    undo = f" Undo with: sagline log restore{log_option(args)} {known}" if deleting else ""
    print(f"{done.words}{undo}")
    return 0
