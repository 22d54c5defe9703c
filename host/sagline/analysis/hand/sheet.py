# SPDX-License-Identifier: MIT
"""What was typed, put into groups: open and loaded readings, and what closed each group.

A closing entry (`load`, `amps`, `watts`) takes the readings since the one before it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from sagline.analysis.hand.fields import CLOSERS, LINE, STATED_OPTIONS, WAYS, option
from sagline.analysis.hand.typed import Stated, Typed, positive, stated, typed
from sagline.errors import UsageError

OPTIONS: Mapping[str, tuple[str, ...]] = {
    way: tuple(one.name for one in STATED_OPTIONS if way in one.ways) for way in WAYS
}
"""The options that mean something for each way of reading."""

SAME_SHARE = 0.02
"""Loads or currents that differ by less than this are one setting, read again."""


@dataclass(frozen=True)
class Sheet:
    """Everything that was typed: `entries` in their order, `options` by name, as text.

    `closed_s` is how long the key was closed when the loaded readings were taken (s).
    `fit_open` takes the open readings for a point of the line; `extrapolate` asks for the E
    of a line through two loaded points.
    """

    way: str
    entries: tuple[tuple[str, str], ...]
    options: Mapping[str, str] = field(default_factory=dict)
    designation: str | None = None
    temperature_c: float | None = None
    closed_s: float | None = None
    fit_open: bool = False
    extrapolate: bool = False

    def number(self, name: str) -> Typed | None:
        """The option of this name above zero; None where it was not given. Raises UsageError."""
        text = self.options.get(name)
        return None if text is None else positive(option(name), text)

    def signed(self, name: str) -> Typed | None:
        """The option of this name with any sign; None where it was not given."""
        text = self.options.get(name)
        return None if text is None else typed(option(name), text)

    def stated(self, name: str) -> Stated | None:
        """The standard uncertainty of this name; None where none was stated."""
        text = self.options.get(name)
        return None if text is None else stated(option(name), text)


@dataclass(frozen=True)
class Group:
    """Readings at one setting: `opened` before the loaded ones, `reopened` after them.

    `number` is its place among the groups, `open_of` that of the group whose open readings it
    has: its own, or of one before.
    """

    opened: tuple[Typed, ...]
    loaded: tuple[Typed, ...]
    reopened: tuple[Typed, ...]
    closer: str
    setting: Typed
    number: int = 0
    open_of: int = 0

    def is_setting_of(self, other: Group) -> bool:
        """Whether both are readings at one setting."""
        apart = abs(self.setting.value - other.setting.value)
        return self.closer == other.closer and apart <= SAME_SHARE * abs(other.setting.value)


def require_known(sheet: Sheet) -> None:
    """Raise UsageError for an option that its way of reading has no use for."""
    for name in sheet.options:
        if name not in OPTIONS[sheet.way]:
            raise UsageError(
                "option_without_use",
                f"{option(name)} says nothing of {sheet.way} readings.",
                "Leave it out; see `sagline hand --help`.",
            )
    if sheet.way != LINE and (sheet.fit_open or sheet.extrapolate):
        name = "fit_open" if sheet.fit_open else "extrapolate"
        raise UsageError(
            "option_without_use",
            f"{option(name)} says nothing of {sheet.way} readings.",
            "Leave it out, or enter the readings with `sagline hand line`.",
        )


def groups_of(entries: Iterable[tuple[str, str]]) -> list[Group]:
    """Return the groups in their order. Open readings at the very end are the last one's.

    Raises UsageError for readings that nothing closes, and what closes none.
    """
    found: list[Group] = []
    opened: list[Typed] = []
    loaded: list[Typed] = []
    reopened: list[Typed] = []
    for name, text in entries:
        if name not in CLOSERS:
            here = loaded if name == "loaded" else reopened if loaded else opened
            here.append(typed(option(name), text))
            continue
        if not loaded:
            raise UsageError(
                "no_loaded_reading",
                f"{option(name)} {text} closes a group without a loaded reading.",
                "Give --loaded before it.",
            )
        read = typed if name == "amps" else positive
        readings = (tuple(opened), tuple(loaded), tuple(reopened))
        place = len(found)
        found.append(Group(*readings, name, read(option(name), text), place, place))
        opened, loaded, reopened = [], [], []
    if loaded:
        raise UsageError(
            "not_closed",
            "The last loaded reading has no load behind it.",
            "End each group of readings with its --load, --amps or --watts.",
        )
    if opened and found:
        found[-1] = replace(found[-1], reopened=(*found[-1].reopened, *opened))
    return found
