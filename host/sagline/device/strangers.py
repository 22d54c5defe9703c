# SPDX-License-Identifier: MIT
"""What answered instead of a sagline board: told from the bytes it sent. Pure."""

import re
from difflib import SequenceMatcher

from sagline.errors import NEW_FIRMWARE, REPLUG, LinkLost, RigError, WrongDevice

_OTHER_PORT = "Choose another port with --rig; `sagline rigs` lists them."
_TRACEBACK = "Traceback (most recent call last):"
_NOT_TEXT = re.compile(r"[^ -~\n]")
_BUSY = "busy: another program has this rig"
_MOST_SHOWN = 60
_OUR_NAME = "Sagline,"
# How like our name a damaged one still is: one of its eight characters lost, changed or put in
# leaves 0.87 or more, two 0.75 or more.
_LIKENESS = 0.74


def recognise(seen: bytes, sent: bytes, port: str, *, was_a_board: bool = False) -> RigError | None:
    """Return the error that says what is on `port`; None where nothing came.

    `seen` are the bytes that came and were no reply, `sent` those that were
    sent. `was_a_board` where a sagline board has answered here before: then it
    is still one, and only what its interpreter says is told apart from damage.
    """
    # What it says is shown to a person: no byte of it may steer their terminal.
    text = _NOT_TEXT.sub("\ufffd", seen.decode("ascii", "replace").replace("\r", ""))
    if not text.strip():
        return None
    if _BUSY in text:
        return LinkLost(
            "port_in_use",
            f"Another program has the rig at {port}.",
            "Close it, then measure again.",
        )
    interpreter = _interpreter(text, port)
    if interpreter is not None:
        return interpreter
    if was_a_board:
        return _damaged(port)
    if any(line and line in seen for line in sent.splitlines()):
        return WrongDevice(
            "echo",
            f"What is on {port} sends back what it gets: a loop, a modem or a terminal.",
            _OTHER_PORT,
        )
    lines = text.splitlines()
    if any(line.startswith("@") or _nearly_our_name(line) for line in lines):
        return _damaged(port)
    for line in lines:
        fields = line.split(",")
        if len(fields) == 4 and "\ufffd" not in line:
            return _instrument(fields, port)
    if re.search(r"^(OK|ERROR|NO CARRIER)$", text, re.M):
        return WrongDevice("modem", f"What is on {port} answers like a modem.", _OTHER_PORT)
    return _noise(seen, text, port)


def _interpreter(text: str, port: str) -> WrongDevice | None:
    for report in text.split(_TRACEBACK)[1:]:
        # At the prompt a request means nothing and ends in a traceback too.
        if 'File "<stdin>"' not in report:
            # The first line that is not indented says what it was.
            last = re.search(r"^[^ \n>].*$", report, re.M)
            return WrongDevice(
                "firmware_crashed",
                f"The firmware on {port} has stopped with an error: "
                f"{last.group()[:_MOST_SHOWN] if last else 'its message is cut off'}",
                f"{REPLUG}. If it stays so, {NEW_FIRMWARE}",
            )
    if re.search(r'^>>> ?|raw REPL|MPY: soft reboot|File "<stdin>"', text, re.M):
        return WrongDevice(
            "repl",
            f"The board on {port} is at the MicroPython prompt: the firmware does not run.",
            f"{REPLUG}, with the jumper open. If it stays so, {NEW_FIRMWARE}",
        )
    return None


def _nearly_our_name(line: str) -> bool:
    """Whether this is our name with a byte or two of damage, and not the name itself."""
    if line.startswith(_OUR_NAME):
        return False
    ends = range(len(_OUR_NAME) - 2, len(_OUR_NAME) + 3)
    return any(SequenceMatcher(None, _OUR_NAME, line[:end]).ratio() >= _LIKENESS for end in ends)


def _damaged(port: str) -> LinkLost:
    return LinkLost(
        "line_damaged",
        f"What the board on {port} says arrives damaged, however often it is asked.",
        "Use another cable and another USB port, without a hub; keep the cable away from motors.",
    )


def _instrument(fields: list[str], port: str) -> WrongDevice:
    maker, model, _serial, version = (field.strip() for field in fields)
    if maker == "Sagline":
        return WrongDevice(
            "no_session",
            f"The sagline board on {port} (firmware {version}) opens no session.",
            f"{REPLUG}. If it stays so, {NEW_FIRMWARE}",
        )
    return WrongDevice(
        "other_instrument",
        f"The instrument on {port} is another one: {maker} {model}."[:200],
        _OTHER_PORT,
    )


def _noise(seen: bytes, text: str, port: str) -> WrongDevice:
    if "\ufffd" in text:
        says = f"it sends bytes that are no text: {seen[:12].hex(' ')}"
    else:
        says = f"it says: {' '.join(text.split())[:_MOST_SHOWN]}"
    return WrongDevice("stranger", f"What is on {port} is no sagline board; {says}", _OTHER_PORT)
