# SPDX-License-Identifier: MIT
"""Options that several commands share."""

import argparse
from pathlib import Path


def add_rig(parser: argparse.ArgumentParser) -> None:
    """Add --rig."""
    parser.add_argument(
        "--rig",
        metavar="R",
        help="nickname, serial number, port or URL such as 'virtual://lr6?seed=7' "
        "(default: the one set in config.toml, else the only rig)",
    )


def add_json(parser: argparse.ArgumentParser) -> None:
    """Add --json."""
    parser.add_argument("--json", action="store_true", help="print JSON instead of words")


def add_log(parser: argparse.ArgumentParser, help_text: str) -> None:
    """Add --log."""
    parser.add_argument("--log", type=Path, metavar="FILE", help=help_text)


def times_s(text: str) -> tuple[float, ...]:
    """Return the seconds in "0.1,1". Raises ArgumentTypeError where it is no such list."""
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"{text!r} is not a list of seconds such as 0.1,1"
        ) from None
