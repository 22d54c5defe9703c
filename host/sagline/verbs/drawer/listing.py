# SPDX-License-Identifier: MIT
"""`sagline drawer list`: the drawers there are, the one used last at the end."""

import argparse
import json
from typing import Any

from sagline.verbs.drawer.common import add_verb


def add(verbs: Any) -> None:
    """Declare the verb."""
    add_verb(verbs, "list", "list the drawers, the one used last at the end").set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the drawers. Returns the exit status."""
    from sagline.drawer import journal
    from sagline.wording import counted

    found = [journal.read(name) for name in journal.names()]
    if args.json:
        print(json.dumps({"drawers": [_document(one) for one in found]}, indent=2))
        return 0
    if not found:
        print("There is no drawer yet.")
    for one in found:
        drawer = one.drawer
        kind = "  simulated" if drawer.opened.simulated else ""
        cells = counted(len(drawer.cells), "cell")
        print(f"{one.name:<24} {drawer.opened.at.astimezone():%Y-%m-%d %H:%M}  {cells}{kind}")
    return 0


def _document(one: Any) -> dict[str, Any]:
    drawer = one.drawer
    return {
        "name": one.name,
        "opened": drawer.opened.model_dump(mode="json", by_alias=True),
        "cells": len(drawer.cells),
        "next_label": drawer.next_label,
    }
