# SPDX-License-Identifier: MIT
"""The record of readings taken by hand: what was typed, letter by letter, in its order.

As text, because 1.50 says more than 1.5: without a stated uncertainty the last digit is what
is known of how good a reading is.
"""

from collections.abc import Sequence
from typing import Literal

from pydantic import Field

from sagline.analysis.hand.fields import CLOSERS, option
from sagline.analysis.hand.sheet import Sheet
from sagline.analysis.hand.typed import typed
from sagline.anyrecord import AnyRecord, Strict

HAND_SCHEMA = "sagline-hand-1"
HAND_METHOD = "hand-1"


class Entry(Strict):
    """One reading, or the load, current or watts that closes a group of them."""

    name: Literal["open", "loaded", "load", "amps", "watts"]
    text: str


class HandOptions(Strict):
    """What else was typed; null where it was not. Lengths are cm, the gradient is V/cm;
    `closed_each` is two times in s.

    Those that begin with `u_` are standard uncertainties, also such as "0.5%".
    """

    u_volts: str | None = None
    u_amps: str | None = None
    u_watts: str | None = None
    u_ohm: str | None = None
    u_length: str | None = None
    lead_ohm: str | None = None
    end_correction: str | None = None
    null_width: str | None = None
    wire_length: str | None = None
    gradient: str | None = None
    standard_emf: str | None = None
    standard_length: str | None = None
    volts_change: str | None = None
    amps_change: str | None = None
    closed_each: str | None = None
    rated_amps: str | None = None


class HandRecord(AnyRecord):
    """Readings by hand on one cell. `closed_s` is how long the key was closed (s)."""

    METHOD = HAND_METHOD

    schema_: Literal["sagline-hand-1"] = Field(HAND_SCHEMA, alias="schema")
    way: Literal["voltmeter", "line", "slidewire"]
    closed_s: float | None
    entries: list[Entry]
    options: HandOptions
    fit_open: bool
    extrapolate: bool

    @property
    def rig_name(self) -> str:
        """How it was read: "by hand, voltmeter"."""
        return f"by hand, {self.way}"

    @property
    def load_ohm(self) -> float | None:
        """The load, ohms, where all readings are of the same one."""
        loads = {entry.text for entry in self.entries if entry.name == "load"}
        return typed("--load", loads.pop()).value if len(loads) == 1 else None

    @property
    def repeats_measured(self) -> int:
        """How many groups of readings it holds."""
        return sum(entry.name in CLOSERS for entry in self.entries)

    @property
    def sheet(self) -> Sheet:
        """The readings as the analysis takes them."""
        return Sheet(
            way=self.way,
            entries=tuple((entry.name, entry.text) for entry in self.entries),
            options=self.options.model_dump(exclude_none=True),
            designation=self.designation,
            temperature_c=self.temperature_c,
            closed_s=self.closed_s,
            fit_open=self.fit_open,
            extrapolate=self.extrapolate,
        )

    def about(self) -> Sequence[tuple[str, str | None]]:
        """Return what was typed, for a person."""
        closed = None if self.closed_s is None else f"the key for {self.closed_s:g} s"
        stated = self.options.model_dump(exclude_none=True)
        switches = [name for name in ("fit_open", "extrapolate") if getattr(self, name)]
        options = [f"{option(name)} {text}" for name, text in stated.items()]
        return [
            ("read", self.rig_name),
            ("closed", closed),
            *(("typed", line) for line in self._lines()),
            ("options", "  ".join([*options, *map(option, switches)]) or None),
        ]

    def _lines(self) -> list[str]:
        """The readings as they would be typed again, a group a line."""
        lines, words = [], []
        for entry in self.entries:
            words.append(f"--{entry.name} {entry.text}")
            if entry.name in CLOSERS:
                lines.append(" ".join(words))
                words = []
        return [*lines, *([" ".join(words)] if words else [])]
