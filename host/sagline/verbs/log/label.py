# SPDX-License-Identifier: MIT
"""`sagline log label` and `note`: what people call a run and write beside it; earlier ones stay."""

import argparse
import json
from typing import Any

from sagline.verbs.log.common import add_verb, open_log


def add(verbs: Any) -> None:
    """Declare both verbs."""
    for what, help_text, long in (
        ("label", "give a run another label", "Give a run another label"),
        ("note", "write a note beside a run", "Write a note beside a run, in place of the last"),
    ):
        parser = add_verb(verbs, what, help_text, f"{long}; '' takes it away.")
        parser.add_argument("id", metavar="ID", help="the run's or a result's id, or the end of it")
        parser.add_argument("text", metavar=what.upper(), help=f"its new {what}")
        parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Change it, and tell what it was. Returns the exit status."""
    from sagline.log.acts import change
    from sagline.plaintext import plain_text

    plain_text(args.verb, args.text)
    with open_log(args, write=True) as log:
        changed = change(log, log.find(args.id), args.verb, args.text)
    if args.json:
        said = {"id": changed.record_id, args.verb: changed.now, "before": changed.before}
        print(json.dumps(said))
    else:
        print(changed.done().words)
    return 0
