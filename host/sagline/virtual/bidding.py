# SPDX-License-Identifier: MIT
"""What hands are bidden to do, a line at a time: `insert lr6`, `read-meter`.

The answer is one line: `ok`, with what was read or put in behind it, or
`error` with the reason. This is the bench beside the rig and never passes over
the rig's own line.
"""

import socket

from sagline.errors import LinkLost, UsageError
from sagline.virtual.hands import Hands

# Verb, its argument's name or None, what it does.
BIDDINGS: tuple[tuple[str, str | None, str], ...] = (
    ("insert", "NAME", "put in a rested cell, a name from `sagline virtual list`"),
    ("remove", None, "take the cell out"),
    ("connect-capacitor", "FARAD,VOLTS", "put a charged capacitor on the sense clips alone"),
    ("next-cell", None, "put in the tray's next cell"),
    ("reverse", None, "turn the cell round"),
    ("add-series", "OHM", "put a resistor into the positive force path, 0 takes it out"),
    ("move-tap", "cell|load", "put the positive sense clip on that side of the resistor"),
    ("short-sense", "on|off", "put the positive sense clip on the negative terminal, or back"),
    ("short-force", "on|off", "put the positive force clip on the negative terminal, or back"),
    ("read-meter", None, "read a meter on the cell's terminals, in V"),
    ("unplug", None, "pull the board's cable"),
    ("plug-in", None, "put the cable back; the board starts anew"),
)
_ARGUMENT = {verb: argument for verb, argument, _ in BIDDINGS}


def obey(hands: Hands, line: str) -> str:
    """Do what `line` bids; return the answer without its line end."""
    verb, _, argument = line.strip().partition(" ")
    if verb not in _ARGUMENT:
        return f"error there is no {verb!r}; there are {', '.join(_ARGUMENT)}"
    if bool(argument) != (_ARGUMENT[verb] is not None):
        return f"error {verb!r} takes {_ARGUMENT[verb] or 'nothing more'}"
    try:
        found = _do(hands, verb, argument)
    except ValueError as error:
        return f"error {error}"
    return "ok" if found is None else f"ok {found}"


def _do(hands: Hands, verb: str, argument: str) -> str | None:
    match verb:
        case "insert":
            hands.insert(argument)
        case "connect-capacitor":
            farad, _, volts = argument.partition(",")
            hands.connect_capacitor(float(farad), float(volts))
        case "add-series":
            hands.add_series(float(argument))
        case "move-tap":
            if argument not in ("cell", "load"):
                raise ValueError("'move-tap' takes cell or load")
            hands.move_tap(argument)
        case "short-sense" | "short-force":
            if argument not in ("on", "off"):
                raise ValueError(f"{verb!r} takes on or off")
            short = hands.short_sense if verb == "short-sense" else hands.short_force
            short(argument == "on")
        case "read-meter":
            return f"{hands.read_meter():.5f}"
        case "next-cell":
            return hands.next_cell() or "empty"
        case _:
            getattr(hands, verb.replace("-", "_"))()
    return None


def bid(port: int, line: str) -> str:
    """Send one line to the hands of a served rig; return what they answer behind `ok`.

    Raises LinkLost where no served rig's hands are on `port`, UsageError for
    what they cannot do.
    """
    try:
        with socket.create_connection(("127.0.0.1", port), timeout=5.0) as connection:
            connection.sendall(line.encode("ascii", "replace") + b"\n")
            with connection.makefile("rb") as answers:
                answer = answers.readline().decode("ascii", "replace").strip()
    except OSError as error:
        raise LinkLost(
            "no_hands",
            f"No hands of a served rig are on port {port}: {error.strerror or error}",
            "Start `sagline virtual serve NAME --port N`; its hands are on the port that it says.",
        ) from error
    word, _, rest = answer.partition(" ")
    if word != "ok":
        raise UsageError(
            "hands", rest or "The hands gave no answer.", "See `sagline hands --help`."
        )
    return rest
