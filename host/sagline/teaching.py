# SPDX-License-Identifier: MIT
"""A run as an exercise: what was read, without what follows; then a student's figures beside it.

What is given is V_open, V_loaded and R_x = V_loaded/I, what the cell truly had across it: the
number printed on the load leaves out the diode, the switch and the leads. r is for the student to
find, r = R_x·(V_open/V_loaded − 1).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sagline.errors import UsageError
from sagline.wording import (
    Working,
    amperes,
    decimals_of,
    expanded,
    figure,
    fixed,
    instant,
    sag_places,
    volts,
)

if TYPE_CHECKING:
    from sagline.analysis.hand.typed import Typed
    from sagline.results import Line, Quantity, Result

SLIP_SHARE = 0.01
"""A figure is taken for a known slip where it is as near as this to what the slip gives, or as its
own last digit."""


@dataclass(frozen=True)
class Exercise:
    """What a student is given: V_open and V_loaded (V) at `t_s` after load on, means over
    `repeats`, R_x (ohm), and the points of a V-I line, (I, V), where there is one."""

    t_s: float
    open_v: float
    loaded_v: float
    load_ohm: float
    repeats: int
    points: tuple[tuple[float, float], ...] = ()

    @classmethod
    def of(cls, result: Result) -> Exercise:
        """From a rig's result with its terminal voltages. Raises UsageError for any other."""
        current_a = None if result.current_a is None else result.current_a.value
        read = Working.of(result.terminal, current_a)
        if read is None or result.r_ohm.t_s is None or result.kind not in ("rig", "virtual"):
            raise UsageError(
                "no_exercise",
                "This run has no readings of a rig to work r out from.",
                "Take one that `sagline measure` made.",
            )
        line: Line | None = result.line
        points = () if line is None else tuple((one.current_a, one.v_v) for one in line.points)
        load_ohm = read.loaded_v / read.current_a
        return cls(result.r_ohm.t_s, read.open_v, read.loaded_v, load_ohm, read.repeats, points)

    @property
    def r_ohm(self) -> float:
        """What the equation gives (ohm)."""
        return self.load_ohm * (self.open_v / self.loaded_v - 1.0)

    def lines(self) -> list[str]:
        """What is given and what is asked for, a line each."""
        places = sag_places(self.open_v, self.loaded_v)
        mean = f", mean of {self.repeats}" if self.repeats > 1 else ""
        r_x = f"{self.load_ohm:.{decimals_of(self.load_ohm, 5)}f} Ω"
        rows = (
            ("V_open", volts(self.open_v, places), f"nothing connected{mean}"),
            ("V_loaded", volts(self.loaded_v, places), f"{instant(self.t_s)} after load on{mean}"),
            ("R_x", r_x, "V_loaded / I: all that the current passes outside"),
        )
        lines = [
            "Given:",
            *(f"  {name:<8} = {value:<10}   {meaning}" for name, value, meaning in rows),
            "Find:",
            "  r, in Ω",
        ]
        if self.points:
            lines[-1:] = [
                "  r, in Ω, and from the line below the E, in V, at which it meets I = 0",
                "  I            V",
                *(f"  {amperes(i):<12} {volts(v, 5)}" for i, v in self.points),
            ]
        return lines

    def to_dict(self) -> dict[str, Any]:
        """The exercise as plain values, names with their units."""
        return {
            "t_s": self.t_s,
            "open_v": self.open_v,
            "loaded_v": self.loaded_v,
            "load_ohm": self.load_ohm,
            "repeats": self.repeats,
            "points": [{"current_a": i, "v_v": v} for i, v in self.points],
        }


@dataclass(frozen=True)
class Beside:
    """A student's figure beside the run's; `agrees` is None where the run's U is not known."""

    name: str
    unit: str
    theirs: Typed
    found: Quantity
    hint: str | None = None

    @property
    def difference(self) -> float:
        """Theirs less the run's, in the unit."""
        return self.theirs.value - self.found.value

    @property
    def agrees(self) -> bool | None:
        """Whether theirs, with what its last digit leaves open, lies within U of the run's."""
        big = expanded(self.found)
        return None if big is None else abs(self.difference) <= big + self.theirs.half_digit

    def lines(self) -> list[str]:
        """The comparison in words."""
        places = decimals_of(self.theirs.digit, 1)
        own = f"{fixed(self.theirs.value, places)} {self.unit}"
        word = {True: "agrees", False: "differs", None: "cannot be judged"}[self.agrees]
        off = abs(self.difference)
        far = f"{off:.{decimals_of(off, 2)}f} {self.unit}"
        where = {
            True: f"it is {far} off, within U",
            False: f"it is {far} off, more than U",
            None: f"it is {far} off; U is not known of a single repeat",
        }[self.agrees]
        lines = [f"{word}: your {self.name} = {own}; {where}"]
        lines.append(f"  the run's {self.name} = {figure(self.found, self.unit)}")
        return [*lines, f"  {self.hint}"] if self.hint else lines

    def to_dict(self) -> dict[str, Any]:
        """The comparison as plain values."""
        return {
            "name": self.name,
            "unit": self.unit,
            "yours": self.theirs.value,
            "found": self.found.value,
            "u95": expanded(self.found),
            "difference": self.difference,
            "agrees": self.agrees,
            "hint": self.hint,
        }


def compare(result: Result, r_ohm: Typed, line_emf_v: Typed | None = None) -> list[Beside]:
    """A student's r, and E of the V-I line, beside the run's. Raises UsageError: those of
    `Exercise.of`, and `no_line` for an E where the run has no line."""
    exercise = Exercise.of(result)
    beside = Beside("r", "Ω", r_ohm, result.r_ohm)
    found = [
        Beside("r", "Ω", r_ohm, result.r_ohm, None if beside.agrees else slip(exercise, r_ohm))
    ]
    if line_emf_v is not None:
        if result.line is None:
            raise UsageError(
                "no_line",
                "This run has no V-I line to hold an E against.",
                "Measure one with `sagline measure --load all`, or leave the E out.",
            )
        found.append(Beside("E of the line", "V", line_emf_v, result.line.emf_v))
    return found


def slip(exercise: Exercise, r_ohm: Typed) -> str | None:
    """What a wrong r looks like, of the slips that are often made with this equation (common
    practice); None where it looks like none of them."""
    load_ohm, ratio = exercise.load_ohm, exercise.open_v / exercise.loaded_v
    looks: Sequence[tuple[float, str]] = (
        (1e3 * exercise.r_ohm, "it looks like milliohms: give r in Ω"),
        (load_ohm * ratio, "it looks as if the 1 was not taken off V_open / V_loaded"),
        (load_ohm / (ratio - 1.0), "it looks as if R_x was divided instead of multiplied"),
        (load_ohm * (1.0 / ratio), "it looks as if the ratio was V_loaded / V_open"),
        (load_ohm * (1.0 - 1.0 / ratio), "it looks as if the sag was divided by V_open, and not by "
         "V_loaded"),
        (exercise.open_v - exercise.loaded_v, "it looks like the sag in volts: divide it by I = "
         "V_loaded / R_x"),
        (-exercise.r_ohm, "it has the wrong sign: V_open is the larger one"),
    )  # fmt: skip
    for value, words in looks:
        if abs(r_ohm.value - value) <= max(SLIP_SHARE * abs(value), r_ohm.half_digit):
            return words
    return None
