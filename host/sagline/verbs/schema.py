# SPDX-License-Identifier: MIT
"""`sagline schema`: the JSON Schemas of what sagline writes, for programs that read it."""

import argparse
import json
from typing import Any

from sagline.verbs.common import add_json

DOCUMENTS = ("result", "record", "hand", "file", "calibration", "selftest")


def add(commands: Any) -> None:
    """Declare the command."""
    parser = commands.add_parser(
        "schema",
        help="print the JSON Schema of a result, a record, hand readings or a calibration",
        description="Print the JSON Schema (draft 2020-12) of a result (`measure --json`, `log "
        "export --json`), of a record (`log export --raw`: of a run, of readings by hand, or of a "
        "file that was analysed), of a rig's calibration, or of a self-test; without a name, one "
        "that describes them all.",
        allow_abbrev=False,
    )
    parser.add_argument(
        "document",
        nargs="?",
        choices=DOCUMENTS,
        metavar="|".join(DOCUMENTS),
        help="which of them",
    )
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the schema; it is JSON with or without --json. Returns the exit status."""
    from sagline.jsonschemas import schema_of

    print(json.dumps(schema_of(args.document), indent=2))
    return 0
