# SPDX-License-Identifier: MIT
"""May results be compared, and do they differ? r depends on load, time and temperature.

Only results of one load, one time after load on and one temperature are put beside each
other; anything else is refused, for the difference would be of the conditions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import hypot, isclose, sqrt

from sagline.analysis.values import AnalysisError, Notice

LOAD_SHARE = 0.01
TIME_SHARE = 1e-3
TEMPERATURE_K = 3.0

R_PER_K = {"alkaline": 0.03}
"""How much of itself r changes by in a kelvin, by chemistry (from memory, for about 20 degC)."""

TYPED_K = 0.5
"""What a temperature given in whole degrees leaves open, either way."""

COVERAGE = 1.96
"""U over u for a term that is small beside the rest, taken as normal."""


@dataclass(frozen=True)
class Candidate:
    """One result as it is to be compared: r and U at 95 % in ohms at `t_s` after load on.

    None is unknown: U of a single repeat, the time or load of hand readings, the temperature.
    `chemistry` is one of those of the designations; `rig` names the rig, `method` the method.
    """

    id: str
    name: str
    r_ohm: float
    u95_ohm: float | None
    t_s: float | None
    load_ohm: float | None
    temperature_c: float | None
    chemistry: str | None = None
    rig: str | None = None
    method: str | None = None


@dataclass(frozen=True)
class Pair:
    """Two results: the difference of r and its U at 95 % (ohm), and E_n.

    E_n = |r1 - r2| / sqrt(U1² + U2²): up to 1 the two agree (ISO/IEC 17043, from memory). None
    where a U is unknown.
    """

    first: str
    second: str
    difference_ohm: float
    u95_ohm: float | None
    en: float | None


@dataclass(frozen=True)
class Comparison:
    """What can be compared, the smallest r first; `pairs` in that order, each with each."""

    t_s: float
    load_ohm: float
    rows: tuple[Candidate, ...]
    pairs: tuple[Pair, ...]
    notices: tuple[Notice, ...]

    def pair(self, first: str, second: str) -> Pair:
        """The pair of these ids. Raises KeyError."""
        return {(one.first, one.second): one for one in self.pairs}[first, second]


def compare(candidates: Sequence[Candidate]) -> Comparison:
    """Put results beside each other.

    Raises AnalysisError: `nothing_to_compare` (fewer than two), `unknown_conditions`,
    `mixed_times`, `mixed_loads`, `mixed_temperatures`.
    """
    if len(candidates) < 2:
        raise AnalysisError(
            "nothing_to_compare", "one result alone is compared with nothing", "give two or more"
        )
    t_s = _one_time(candidates)
    load_ohm = _one_load(candidates)
    notices = [*_temperatures(candidates), *_remarks(candidates)]
    rows = tuple(sorted(candidates, key=lambda one: (one.r_ohm, one.id)))
    pairs = tuple(pair_of(first, second) for first, second in combinations(rows, 2))
    return Comparison(t_s, load_ohm, rows, pairs, tuple(notices))


def temperature_u95_ohm(one: Candidate, apart_k: float) -> float:
    """U of r (ohm) by what is not known of its temperature: u(T)·dr/dT, at 95 %.

    Both what a typed temperature leaves open and `apart_k`, how far the two are apart, are
    half-widths of rectangles; 0 where the temperature or dr/dT is not known.
    """
    share_per_k = R_PER_K.get(one.chemistry or "", 0.0)
    if one.temperature_c is None:
        return 0.0
    u_k = hypot(TYPED_K, apart_k / 2.0) / sqrt(3.0)
    return COVERAGE * share_per_k * abs(one.r_ohm) * u_k


def pair_of(first: Candidate, second: Candidate) -> Pair:
    """The difference of two results, whatever their conditions."""
    difference = second.r_ohm - first.r_ohm
    if first.u95_ohm is None or second.u95_ohm is None:
        return Pair(first.id, second.id, difference, None, None)
    apart_k = 0.0
    if first.temperature_c is not None and second.temperature_c is not None:
        apart_k = abs(first.temperature_c - second.temperature_c)
    u95 = hypot(
        first.u95_ohm,
        second.u95_ohm,
        temperature_u95_ohm(first, apart_k),
        temperature_u95_ohm(second, apart_k),
    )
    return Pair(first.id, second.id, difference, u95, abs(difference) / u95 if u95 else None)


def _one_time(candidates: Sequence[Candidate]) -> float:
    times = [one.t_s for one in candidates if one.t_s is not None]
    if len(times) < len(candidates):
        raise _unknown(candidates, "t_s", "how long the load was on")
    if not all(isclose(t_s, times[0], rel_tol=TIME_SHARE) for t_s in times):
        raise AnalysisError(
            "mixed_times",
            f"r is of different times after load on: {_listed(times, 's')}; it grows with time, so "
            "the results are not of the same thing",
            "compare them with --at at a time that all have, or compute it with `sagline log "
            "recompute --times` first",
        )
    return times[0]


def _one_load(candidates: Sequence[Candidate]) -> float:
    loads = [one.load_ohm for one in candidates if one.load_ohm is not None]
    if len(loads) < len(candidates):
        raise _unknown(candidates, "load_ohm", "the load")
    if max(loads) > min(loads) * (1.0 + LOAD_SHARE):
        raise AnalysisError(
            "mixed_loads",
            f"the loads were different: {_listed(loads, 'Ω')}; r depends on the current, so the "
            "results are not of the same thing",
            "measure again with one --load for all",
        )
    return loads[0]


def _temperatures(candidates: Sequence[Candidate]) -> list[Notice]:
    known = [one.temperature_c for one in candidates if one.temperature_c is not None]
    if known and max(known) - min(known) > TEMPERATURE_K:
        raise AnalysisError(
            "mixed_temperatures",
            f"the temperatures were {min(known):g} to {max(known):g} °C, more than "
            f"{TEMPERATURE_K:g} K apart; r falls as a cell gets warmer",
            f"measure again with the cells within {TEMPERATURE_K:g} K",
        )
    remedy = "bring the cells to one temperature and give it with --temperature"
    if not known:
        return [
            Notice("temperature_unknown", "no temperature is known; E_n takes them as one", remedy)
        ]
    if len(known) < len(candidates):
        names = ", ".join(one.name for one in candidates if one.temperature_c is None)
        return [
            Notice(
                "temperature_unknown",
                f"the temperature is not known of {names}; E_n takes it as that of the others",
                remedy,
            )
        ]
    without = {one.chemistry for one in candidates} - set(R_PER_K)
    if not without:
        return []
    return [
        Notice(
            "temperature_not_counted",
            "how r changes with temperature is not known for "
            f"{', '.join(sorted(name or 'cells without designation' for name in without))}; E_n "
            "leaves it out",
            "the nearer the temperatures, the better",
        )
    ]


def _remarks(candidates: Sequence[Candidate]) -> list[Notice]:
    said = []
    if len({one.method for one in candidates}) > 1:
        said.append(
            Notice(
                "mixed_methods",
                "the results were computed by different methods",
                "compute them all by the present one with `sagline log recompute`",
            )
        )
    rigs = {one.rig for one in candidates}
    if len(rigs) == 1 and None not in rigs:
        said.append(
            Notice(
                "one_rig",
                "all are of one rig: its own errors are in each U and mostly the same in all, so "
                "smaller differences than E_n says may be real",
                "for a verdict by E_n alone, nothing need be done: it errs on the safe side",
            )
        )
    if any(one.u95_ohm is None for one in candidates):
        names = ", ".join(one.name for one in candidates if one.u95_ohm is None)
        said.append(
            Notice(
                "u_unknown",
                f"U is not known of {names}, so nothing can be said of a difference from it",
                "measure with more --repeats",
            )
        )
    return said


def _unknown(candidates: Sequence[Candidate], field: str, what: str) -> AnalysisError:
    names = ", ".join(one.name for one in candidates if getattr(one, field) is None)
    return AnalysisError(
        "unknown_conditions",
        f"{what} is not known of {names}",
        "compare results whose load and time are known",
    )


def _listed(values: Sequence[float], unit: str) -> str:
    return f"{', '.join(f'{value:.4g}' for value in sorted(set(values)))} {unit}"
