# SPDX-License-Identifier: MIT
"""`sagline guide`: the handbook, a page or an entry at a time."""

import argparse
import json
from dataclasses import asdict
from typing import Any

from sagline.verbs.common import add_json


def add(commands: Any) -> None:
    """Declare the command."""
    parser = commands.add_parser(
        "guide",
        help="the handbook: a first run, the method, words, faults, safety",
        description="Print a page of the handbook: start, method, glossary, faults or safety; or "
        'one entry of it: a word (`sagline guide "lost volts"`), or the code or number of an '
        "error (`sagline guide no_cell`, `sagline guide 101`). Without a topic, what there is.",
        allow_abbrev=False,
    )
    parser.add_argument("topic", nargs="*", metavar="TOPIC", help="a page, a word, or an error")
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the page. Returns the exit status. Raises UsageError."""
    from sagline.guide.pages import contents, page

    if not args.topic:
        pages = contents()
        if args.json:
            print(json.dumps({"topics": [{"topic": one, "title": title} for one, title in pages]}))
            return 0
        print("\n".join(f"  sagline guide {topic:<10} {title}" for topic, title in pages))
        print("\nA word of the glossary or the code of an error will do as well.")
        return 0
    found = page(" ".join(args.topic))
    if args.json:
        print(json.dumps(asdict(found)))
        return 0
    heading = found.title if found.text.startswith("  ") else f"{found.title}\n"
    print(f"{heading}\n{found.text}")
    return 0
