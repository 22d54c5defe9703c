# SPDX-License-Identifier: MIT
"""What answered instead of a sagline board: told from the bytes it sent. Pure."""

import re

from sagline.errors import WrongDevice

_INSTALL = "Install the sagline firmware on the board, or reset the board if it is there already."


def recognise(
    seen: bytes, sent: bytes, port: str, *, was_a_board: bool = False
) -> WrongDevice | None:
    """Return the error that says what is on `port`; None where it does not show.

    `seen` are the bytes that came and were no reply, `sent` those that were
    sent. `was_a_board` where a sagline board has answered here before: then it
    is still one, and only what its interpreter says is told apart from damage.
    """
    text = seen.decode("ascii", "replace").replace("\r", "")
    if not text.strip():
        return None
    if ">>> " in text or "raw REPL" in text or "MPY: soft reboot" in text:
        return WrongDevice(
            "repl",
            f"The board on {port} is at the MicroPython prompt: the firmware does not run.",
            "Unplug the board and plug it in again, with the jumper open. If it stays so, "
            "install the firmware.",
        )
    if "Traceback (most recent call last)" in text:
        last = text.strip().splitlines()[-1]
        return WrongDevice(
            "firmware_crashed",
            f"The firmware on {port} has stopped with an error: {last[:60]}",
            "Unplug the board and plug it in again; please send the message with what you did.",
        )
    if was_a_board:
        return None
    echoes = [line for line in sent.splitlines() if line and line in seen]
    if echoes:
        return WrongDevice(
            "echo",
            f"What is on {port} sends back what it gets: a loop, a modem or a terminal.",
            "Choose another port; `sagline rigs` lists them.",
        )
    for line in text.splitlines():
        fields = line.split(",")
        if len(fields) == 4 and not line.startswith("@"):
            return _instrument(fields, port)
    if re.search(r"^(OK|ERROR)$", text, re.M):
        return WrongDevice(
            "modem",
            f"What is on {port} answers like a modem.",
            "Choose another port; `sagline rigs` lists them.",
        )
    if any(line.startswith("@") for line in text.splitlines()):
        # An envelope, damaged on the way: a board on a bad line.
        return None
    shown = seen[:24].decode("latin-1").encode("unicode_escape").decode("ascii")
    return WrongDevice(
        "stranger",
        f"What is on {port} is no sagline board; it says: {shown}",
        "Choose another port with --rig; `sagline rigs` lists them.",
    )


def _instrument(fields: list[str], port: str) -> WrongDevice:
    maker, model = fields[0].strip(), fields[1].strip()
    if maker == "Sagline":
        return WrongDevice(
            "no_session",
            f"The sagline board on {port} (firmware {fields[3].strip()}) opens no session.",
            _INSTALL,
        )
    return WrongDevice(
        "other_instrument",
        f"The instrument on {port} is another one: {maker} {model}.",
        "Choose another port with --rig; `sagline rigs` lists them.",
    )
