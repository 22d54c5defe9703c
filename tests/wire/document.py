# SPDX-License-Identifier: MIT
"""Reads protocol.md for the tests, and writes what in it is made from the code.

`python tests/wire/document.py --write` renews both tables and the checksums.
"""

import re
import sys
from pathlib import Path

from sagline.device import commandset
from sagline_board import faults, wire

PROTOCOL = Path(__file__).parents[2] / "protocol.md"


def command_table() -> str:
    """Return the command table as Markdown."""
    rows = ["| command | parameters | reply | deadline | access | what it does |"]
    rows.append("|---|---|---|---|---|---|")
    for command in commandset.TABLE:
        args = ", ".join(f"{name} {low}…{high}" for name, low, high in command.args)
        reply = command.reply if isinstance(command.reply, str) else ", ".join(command.reply)
        rows.append(
            f"| `{command.header}` | {args} | {reply} | {command.deadline_ms} ms "
            f"| {command.access} | {command.summary} |"
        )
    return "\n".join(rows)


def error_table() -> str:
    """Return the error table as Markdown."""
    rows = ["| number | text |", "|---|---|"]
    rows += [f"| {number} | {text} |" for number, text in sorted(faults.TEXTS.items())]
    return "\n".join(rows)


def made_part(name: str, text: str) -> str:
    """Return the part of the document between the marks of `name`."""
    found = re.search(rf"<!-- {name}:.*?-->\n(.*?)<!-- end of {name} -->", text, re.S)
    assert found is not None, f"protocol.md has no part {name}"
    return found.group(1).strip()


def blocks(kind: str, text: str) -> list[list[str]]:
    """Return the lines of every fenced block of this kind."""
    return [body.splitlines() for body in re.findall(rf"```{kind}\n(.*?)```", text, re.S)]


def envelopes(text: str) -> list[tuple[str, int, str, str]]:
    """Return (session, seq, message, line) of each vector."""
    rows = [row.split("\t") for row in blocks("vectors", text)[0][1:]]
    return [(session, int(seq), message, line) for session, seq, message, line in rows]


def renewed(text: str) -> str:
    """Return the document with both tables and every checksum made anew."""
    for name, table in (("commands", command_table()), ("errors", error_table())):
        text = re.sub(
            rf"(<!-- {name}:.*?-->\n).*?(<!-- end of {name} -->)",
            lambda m, table=table: m.group(1) + table + "\n" + m.group(2),
            text,
            flags=re.S,
        )
    text = re.sub(r"^([<>] )@([0-9A-F]+)\.(\d+) (.*)\*[0-9A-F]{8}$", _reseal, text, flags=re.M)
    return re.sub(r"^([0-9A-F]+)\t(\d+)\t(.*)\t@.*$", _revector, text, flags=re.M)


def _reseal(found: re.Match[str]) -> str:
    return found.group(1) + wire.seal(found.group(2), int(found.group(3)), found.group(4)).decode()


def _revector(found: re.Match[str]) -> str:
    session, seq, message = found.groups()
    return f"{session}\t{seq}\t{message}\t{wire.seal(session, int(seq), message).decode()}"


if __name__ == "__main__":
    if sys.argv[1:] != ["--write"]:
        sys.exit("use: python tests/wire/document.py --write")
    PROTOCOL.write_text(renewed(PROTOCOL.read_text(encoding="utf-8")), encoding="utf-8")
