# SPDX-License-Identifier: MIT
"""`sagline where`: the files and folders that sagline keeps things in."""

import argparse
import json
import os
from pathlib import Path
from typing import Any

from sagline.verbs.common import add_json

TITLES = {
    "config": "settings",
    "log": "log",
    "demo_log": "log of virtual runs",
    "traces": "traces",
    "calibrations": "calibrations",
    "drawers": "drawers",
}
FOLDERS = ("traces", "calibrations", "drawers")


def add(commands: Any) -> None:
    """Declare the command."""
    parser = commands.add_parser(
        "where",
        help="print where settings and records are kept",
        description="Print where settings and records are kept, and whether they exist. "
        "The environment variable SAGLINE_HOME puts them all into one folder.",
        allow_abbrev=False,
    )
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the places. Raises UsageError after them where config.toml cannot be read."""
    from dataclasses import asdict

    from sagline.config import load_config, real_log
    from sagline.errors import UsageError
    from sagline.places import find_places

    places = find_places()
    paths: dict[str, Path] = asdict(places)
    unreadable = None
    try:
        paths["log"] = real_log(places, load_config(places))
    except UsageError as error:
        # The settings could name another log; where they can be mended is still told.
        unreadable = error
        del paths["log"]
    rows = [_row(name, path) for name, path in paths.items()]
    if args.json:
        print(json.dumps({"places": rows}, indent=2))
    else:
        for row in rows:
            state = row["problem"] or ("" if row["exists"] else "not there yet")
            note = f"  ({state})" if state else ""
            print(f"{TITLES[row['name']]:<20} {row['path']}{note}")
    if unreadable is not None:
        raise unreadable
    return 0


def _row(name: str, path: Path) -> dict[str, Any]:
    exists = os.path.exists(path)
    return {"name": name, "path": str(path), "exists": exists, "problem": _problem(name, path)}


def _problem(name: str, path: Path) -> str | None:
    """Say what stands in the way of using `path`, None where nothing does."""
    exists = os.path.exists(path)
    if os.path.islink(path) and not exists:
        return "a link that leads nowhere"
    if name in FOLDERS:
        return "not a folder" if exists and not os.path.isdir(path) else None
    if os.path.isdir(path):
        return "a folder is in the file's place"
    return "not a plain file" if exists and not os.path.isfile(path) else None
