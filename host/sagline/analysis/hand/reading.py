# SPDX-License-Identifier: MIT
"""What the meter read, as E, V and I of a group: added to the inputs, taken from them again.

What a meter is off by is one input for all open voltages and one for the loaded ones of each
setting; those are taken as independent of each other.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from sagline.analysis.hand.inputs import Inputs, Reading
from sagline.analysis.hand.sheet import Group, Sheet
from sagline.analysis.hand.typed import Mean, Typed, mean
from sagline.analysis.hand.values import Row

OPEN, LOADED = "open voltage", "loaded voltage"
DRIFT = "drift of the open voltage"
LEADS = "lead resistance"
SETTINGS = {
    "load": ("load resistance", "u_ohm", "Ω"),
    "amps": ("current", "u_amps", "A"),
    "watts": ("power", "u_watts", "W"),
}


class Readers(NamedTuple):
    """What takes E (V), V (V), I (A) and the load (ohm) of one group from the inputs."""

    open_v: Reading
    loaded_v: Reading
    current_a: Reading
    load_ohm: Reading

    def outputs(self, x: Mapping[str, Any], sign: float) -> dict[str, Any]:
        """Every figure of the group; `sign` is -1 where the cell is charged."""
        emf_v, loaded_v, current_a = self.open_v(x), self.loaded_v(x), self.current_a(x)
        return {
            "r_ohm": (emf_v - loaded_v) / current_a,
            "emf_v": emf_v,
            "loaded_v": loaded_v,
            "current_a": current_a,
            "load_ohm": self.load_ohm(x),
            "sag_v": sign * (emf_v - loaded_v),
        }


def readers(
    inputs: Inputs, sheet: Sheet, group: Group, setting: int, *, repeated: bool, shared: bool
) -> Readers:
    """Add the inputs of a group of this setting.

    Where the whole is `repeated` its scatter holds that of the readings, but for open ones that
    several groups have in common (`shared`).
    """
    loaded = loaded_reading(inputs, sheet, group, setting, scatter=not repeated)
    opened = open_reading(inputs, sheet, group, scatter=shared or not repeated)
    return Readers(opened, loaded, *current_reading(inputs, sheet, group, setting, loaded))


def loaded_reading(
    inputs: Inputs, sheet: Sheet, group: Group, setting: int, *, scatter: bool = True
) -> Reading:
    """Add the loaded voltage of a group."""
    return inputs.mean(
        f"loaded.{group.number}", LOADED, mean(group.loaded), sheet.stated("u_volts"), "u_volts",
        common=f"loaded.{setting}", scatter=scatter,
    )  # fmt: skip


def open_reading(inputs: Inputs, sheet: Sheet, group: Group, *, scatter: bool = True) -> Reading:
    """Add the open voltage of a group: before, or the middle of before and after.

    Half of what it changed by meanwhile bounds how far the middle may be off.
    """

    def add(key: str, typed: tuple[Typed, ...]) -> Reading:
        return inputs.mean(
            key, OPEN, mean(typed), sheet.stated("u_volts"), "u_volts",
            common="open", scatter=scatter,
        )  # fmt: skip

    before = add(f"open.{group.open_of}", group.opened)
    if not group.reopened:
        return before
    after = add(f"reopened.{group.number}", group.reopened)
    change = abs(mean(group.reopened).value - mean(group.opened).value)
    drift = inputs.width(f"drift.{group.number}", DRIFT, change)
    return lambda x: 0.5 * (before(x) + after(x)) + drift(x)


def current_reading(
    inputs: Inputs, sheet: Sheet, group: Group, setting: int, loaded: Reading
) -> tuple[Reading, Reading]:
    """Add what the current rests on; return what takes it (A) and the load (ohm).

    A load is known by its ohms. What the meter of a current or of watts is off by is one input
    for all readings on one setting.
    """
    source, option, _ = SETTINGS[group.closer]
    which = group.setting.value if group.closer == "load" else setting
    key = f"{group.closer}.{which!r}"
    number = inputs.number(key, source, group.setting, sheet.stated(option), option)
    if group.closer == "amps":
        return number, lambda x: loaded(x) / number(x)
    if group.closer == "watts":
        return lambda x: number(x) / loaded(x), lambda x: loaded(x) * loaded(x) / number(x)
    whole = load_circuit(inputs, sheet, number)
    return lambda x: loaded(x) / whole(x), number


def load_circuit(inputs: Inputs, sheet: Sheet, number: Reading) -> Reading:
    """Return what takes the load with its leads (ohm)."""
    lead = sheet.number("lead_ohm")
    if lead is None:
        return number
    leads = inputs.number("lead", LEADS, lead, None, "lead_ohm")
    return lambda x: number(x) + leads(x)


def rows_of(group: Group, inputs: Inputs, setting: int, unit: str = "V") -> list[Row]:
    """The lines of the repeat table for a group of this setting, each with u of its mean."""
    on = f"on {group.setting.value:g} {SETTINGS[group.closer][2]}"
    own = group.opened if group.open_of == group.number else ()
    parts = (
        ("open", own, "open"),
        (f"loaded, {on}", group.loaded, f"loaded.{setting}"),
        ("open after", group.reopened, "open"),
    )
    return [
        _row(name, unit, mean(typed), inputs.u_of(f"{common}.common"))
        for name, typed, common in parts
        if typed
    ]


def _row(name: str, unit: str, mean_: Mean, common_u: float) -> Row:
    u = (common_u**2 + mean_.scatter_u**2) ** 0.5
    return Row(name, unit, mean_.value, mean_.n, mean_.half_range, u)
