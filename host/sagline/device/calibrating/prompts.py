# SPDX-License-Identifier: MIT
"""What somebody at the bench is asked to do: one list, for a person, hands and tests alike."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sagline.designations import Designation

Action = tuple[str, tuple[Any, ...]]


@dataclass(frozen=True)
class Prompt:
    """One thing to do, and what to beware of.

    `wants` is what is to be told when it is done: "volts", "ohm", or None for nothing; where
    `usual` is given, silence means that. `actions` are the same as verbs of
    `sagline.virtual.hands` with their arguments.
    """

    code: str
    text: str
    caution: str | None = None
    wants: str | None = None
    usual: float | None = None
    actions: tuple[Action, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return {
            "code": self.code,
            "text": self.text,
            "caution": self.caution,
            "wants": self.wants,
            "usual": self.usual,
        }


Answerer = Callable[[Prompt], str]
"""Does what a prompt says and returns what it wants, "" for nothing."""

_SHORT = (
    "Never let a positive clip touch both terminals at once: that shorts the cell. Take off "
    "rings and watches."
)
_WARM = "The load resistors and the added one get warm. Do not leave the cell alone."


def cell(known: Designation, name: str) -> Prompt:
    """A cell between the clips; `name` is that of the virtual one."""
    return Prompt(
        "insert",
        f"Put a fresh {known.designation} ({known.title}) between the clips, force and sense "
        "clips of either side on its terminals themselves.",
        f"No rechargeable cell here. {_SHORT}",
        actions=(("insert", (name,)),),
    )


def zero_volts() -> Prompt:
    """Both positive clips on the negative terminal."""
    return Prompt(
        "zero",
        "Take the positive sense clip and the positive force clip off the cell, and put both on "
        "its negative terminal, beside the two negative clips. (All four on one piece of bare "
        "wire, without the cell, does as well.)",
        _SHORT,
        actions=(("short_sense", (True,)), ("short_force", (True,))),
    )


def back() -> Prompt:
    """Both positive clips back on the positive terminal."""
    return Prompt(
        "back",
        "Put the positive sense clip and the positive force clip back on the cell's positive "
        "terminal.",
        _SHORT,
        actions=(("short_sense", (False,)), ("short_force", (False,))),
    )


def meter() -> Prompt:
    """A voltmeter read."""
    return Prompt(
        "meter",
        "Hold a voltmeter on the cell's two terminals, beside the clips, and tell what it shows.",
        "Red lead in the meter's volt socket: in its ampere socket it shorts the cell.",
        wants="volts",
        actions=(("read_meter", ()),),
    )


def resistor(ohm: float, hint: str) -> Prompt:
    """The added resistor put in, tap on the cell side."""
    return Prompt(
        "resistor",
        f"Put a resistor of {ohm:g} Ω, 0.1 % or better, between the cell's positive terminal and "
        f"the positive force clip{hint}. Put the positive sense clip on the end of the resistor "
        "that is at the cell: on its own wire, closer to its body than whatever holds it. Tell "
        "its value if you know it better than what is printed on it.",
        _WARM,
        wants="ohm",
        usual=ohm,
        actions=(("move_tap", ("cell",)), ("add_series", (ohm,))),
    )


def tap(side: str) -> Prompt:
    """The tap moved, and nothing else."""
    where = "other end of the resistor, at the load" if side == "load" else "end at the cell"
    return Prompt(
        f"tap_{side}",
        f"Move the positive sense clip, and nothing else, to the {where}: on the resistor's own "
        "wire, as close to its body.",
        actions=(("move_tap", (side,)),),
    )


def no_resistor() -> Prompt:
    """The added resistor taken out again."""
    return Prompt(
        "no_resistor",
        "Take the resistor out: both positive clips on the cell's positive terminal.",
        _SHORT,
        actions=(("add_series", (0.0,)), ("move_tap", ("cell",))),
    )


def capacitor(farad: float, volts: float) -> Prompt:
    """A charged capacitor on the sense clips alone."""
    return Prompt(
        "capacitor",
        f"Charge a capacitor of some {1e6 * farad:.0f} µF to {volts:g} V, through 100 Ω or more, "
        "take the source off, and put the two sense clips on the capacitor, positive on positive. "
        "The force clips touch nothing. It takes some minutes to discharge.",
        "Rated for 25 V at least. An electrolytic capacitor the wrong way round can burst; do "
        "not touch or short its terminals while it is charged.",
        actions=(("connect_capacitor", (farad, volts)),),
    )


def no_capacitor() -> Prompt:
    """The capacitor taken off again."""
    return Prompt(
        "no_capacitor",
        "Take the capacitor off.",
        "It still holds some charge: discharge it through 1 kΩ.",
        actions=(("remove", ()),),
    )


def load(ohm: float) -> Prompt:
    """A load measured with four wires."""
    return Prompt(
        "load",
        f"Take the cell out. Measure the load of {ohm:g} Ω with four wires, at the resistor's own "
        "terminals, and tell its ohms. No load is on meanwhile.",
        wants="ohm",
    )
