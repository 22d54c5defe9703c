# SPDX-License-Identifier: MIT
"""Resistances by the definitions of others: plain arithmetic on readings taken by hand.

A d.c. resistance depends on how long which current flowed, so these figures differ on one and
the same cell, and from r(t) of a rig. Each is therefore a value that holds the readings, their
times and the temperature, and its text says them: there is no bare number to be printed.
No uncertainty is computed here.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Any

from sagline.analysis.values import AnalysisError

PULSE_S = (5e-3, 50e-3)
"""How long the load of the voltage-drop method is on: short, to keep polarization small."""

AGREES_REL = 0.02
"""How far a current or time may be from the prescribed one (our choice: a bench's accuracy)."""


@dataclass(frozen=True)
class Closed:
    """Terminal voltage `v` after the current `current_a` had flowed for `after_s`."""

    v: float
    current_a: float
    after_s: float

    def __str__(self) -> str:
        return f"{self.v:g} V at {self.current_a:g} A after {self.after_s:g} s"


@dataclass(frozen=True)
class Prescribed:
    """A two-current method: multiples of the rated current, and how long each flows (s)."""

    name: str
    rated: str
    multiples: tuple[float, float]
    durations_s: tuple[float, float]


PRESCRIBED = (
    # Known at second hand.
    Prescribed("IEC 61960-3, d.c. method", "I_t = C5/1 h", (0.2, 1.0), (10.0, 1.0)),
    # From memory.
    Prescribed("IEC 60896-21, 6.3", "I_10 = C10/10 h", (4.0, 20.0), (20.0, 5.0)),
)


@dataclass(frozen=True)
class TwoCurrent:
    """Two closed-circuit readings of one cell and the straight line through them.

    `temperature_c` None is unknown, and the text says so.
    """

    first: Closed
    second: Closed
    temperature_c: float | None

    @property
    def r_ohm(self) -> float:
        """r = (U1 - U2)/(I2 - I1), minus the line's slope."""
        a, b = self.first, self.second
        return two_current_ohm(a.current_a, a.v, b.current_a, b.v)

    @property
    def intercept_v(self) -> float:
        """The line at no current: not the open-circuit voltage, which is as a rule higher."""
        return self.first.v + self.first.current_a * self.r_ohm

    @property
    def short_circuit_a(self) -> float:
        """The line at no voltage, I_sc = (Ua Ib - Ub Ia)/(Ua - Ub) (IEC 60896-21, 6.3, from
        memory). An extrapolation: never short a cell to see it."""
        a, b = self.first, self.second
        return (a.v * b.current_a - b.v * a.current_a) / (a.v - b.v)

    def departures(self, method: Prescribed, rated_a: float) -> tuple[str, ...]:
        """In words, what of currents and times is not as `method` has it; empty: all is.

        `rated_a` is the current its multiples are of. Raises AnalysisError `not_positive`.
        """
        _positive(rated_a, "the rated current")
        told = []
        readings = (self.first, self.second)
        for one, multiple, duration_s in zip(
            readings, method.multiples, method.durations_s, strict=True
        ):
            for found, wanted, unit in (
                (one.current_a, multiple * rated_a, "A"),
                (one.after_s, duration_s, "s"),
            ):
                if abs(found - wanted) > AGREES_REL * wanted:
                    told.append(f"{found:g} {unit} instead of {wanted:g} {unit}")
        return tuple(told)

    def __str__(self) -> str:
        return (
            f"two-current r {_ohms(self.r_ohm)}, from {self.first} and {self.second}, "
            f"{_temperature(self.temperature_c)}; line through both: {self.intercept_v:.4g} V at "
            f"no current, {self.short_circuit_a:.4g} A at no voltage"
        )


@dataclass(frozen=True)
class VoltageDrop:
    """Open voltage, and the voltage on `load_ohm` after it was on for `pulse_s`."""

    open_v: float
    loaded_v: float
    load_ohm: float
    pulse_s: float
    temperature_c: float | None

    @property
    def r_ohm(self) -> float:
        """R_in = (V1 - V2) R_L / V2 (Linden's Handbook of Batteries, 4th ed., 9.6.6)."""
        return (self.open_v - self.loaded_v) * self.load_ohm / self.loaded_v

    @property
    def is_short(self) -> bool:
        """Whether the pulse is as short as the method wants it."""
        return PULSE_S[0] <= self.pulse_s <= PULSE_S[1]

    def __str__(self) -> str:
        beside = "" if self.is_short else ", which is not the 5 to 50 ms of the method"
        return (
            f"voltage-drop r {_ohms(self.r_ohm)}, from {self.open_v:g} V open and "
            f"{self.loaded_v:g} V on {self.load_ohm:g} Ω after {self.pulse_s:g} s{beside}, "
            f"{_temperature(self.temperature_c)}"
        )


def two_current_ohm(i1: Any, v1: Any, i2: Any, v2: Any) -> Any:
    """(V1 - V2)/(I2 - I1): r by the difference of two currents, of whatever number type."""
    return (v1 - v2) / (i2 - i1)


def two_current_r(first: Closed, second: Closed, temperature_c: float | None) -> TwoCurrent:
    """The resistance between two currents (A, in the sense of discharge), in the order taken.

    Raises AnalysisError `not_positive`, `equal_currents`, `no_fall`.
    """
    for one in (first, second):
        _positive(one.v, "a terminal voltage")
        _positive(one.after_s, "the time for which a current had flowed")
        if not (isfinite(one.current_a) and one.current_a >= 0.0):
            raise _not_positive("a discharge current", one.current_a)
    if first.current_a == second.current_a:
        raise AnalysisError(
            "equal_currents",
            f"both readings were taken at {first.current_a:g} A: there is no slope between them",
            "take the second reading at a clearly larger current",
        )
    light, heavy = sorted((first, second), key=lambda one: one.current_a)
    _falls(light.v, heavy.v, f"at {heavy.current_a:g} A than at {light.current_a:g} A")
    return TwoCurrent(first, second, temperature_c)


def voltage_drop_r(
    open_v: float, loaded_v: float, load_ohm: float, pulse_s: float, temperature_c: float | None
) -> VoltageDrop:
    """The voltage-drop method. Raises AnalysisError `not_positive`, `no_fall`."""
    _positive(open_v, "the open voltage")
    _positive(loaded_v, "the loaded voltage")
    _positive(load_ohm, "the load")
    _positive(pulse_s, "the time for which the load was on")
    _falls(open_v, loaded_v, "with the load than without")
    return VoltageDrop(open_v, loaded_v, load_ohm, pulse_s, temperature_c)


def _falls(light_v: float, heavy_v: float, where: str) -> None:
    if heavy_v >= light_v:
        raise AnalysisError(
            "no_fall",
            f"the voltage is not lower {where} ({heavy_v:g} V, {light_v:g} V), so that no "
            "resistance follows from it",
            "see that the readings are not exchanged and nothing charges the cell; then read more "
            "digits, or use a larger current that the cell's data sheet allows",
        )


def _positive(value: float, what: str) -> None:
    if not (isfinite(value) and value > 0.0):
        raise _not_positive(what, value)


def _not_positive(what: str, value: float) -> AnalysisError:
    return AnalysisError(
        "not_positive",
        f"{what} of {value:g} means nothing here",
        "give the reading as a number above zero; currents count positive in discharge",
    )


def _ohms(r_ohm: float) -> str:
    return f"{r_ohm:.4g} Ω" if r_ohm >= 0.1 else f"{1e3 * r_ohm:.4g} mΩ"


def _temperature(temperature_c: float | None) -> str:
    return "temperature unknown" if temperature_c is None else f"at {temperature_c:g} °C"
