# SPDX-License-Identifier: MIT
"""A class's results on one page: every team's interval on one line of numbers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from sagline.errors import UsageError
from sagline.report.markup import Html, Piece, rows, tag
from sagline.report.page import figure as drawn
from sagline.report.page import page, ruled, section
from sagline.report.plot import Interval, intervals
from sagline.results import Quantity, Result
from sagline.wording import amperes, bare_figure, counted, expanded, instant

NOT_STATED = "not stated"


@dataclass(frozen=True)
class Team:
    """A team's name and the result that it hands in."""

    name: str
    result: Result


def teams_of(named: Sequence[tuple[str, Result]]) -> list[Team]:
    """Name each by its operator, else its label, else what it came as; of one name, numbered."""
    names = [result.operator or result.label or given for given, result in named]
    often, seen = Counter(names), Counter[str]()
    teams = []
    for name, (_, result) in zip(names, named, strict=True):
        seen[name] += 1
        teams.append(Team(f"{name} ({seen[name]})" if often[name] > 1 else name, result))
    return teams


def common_time_s(teams: Sequence[Team]) -> float | None:
    """The time after load on (s) at which all have r: the first team's own, where it can be.

    None where nobody states one. Raises UsageError where there is none in common.
    """
    times = [{at.t_s for at in (*team.result.r_at, team.result.r_ohm)} for team in teams]
    shared = set.intersection(*times)
    if not shared:
        raise UsageError(
            "no_common_time",
            "These results have r at different times after load on, and none in common.",
            "Measure, or compute again, with the same --times: `sagline log recompute --times`.",
        )
    own = teams[0].result.r_ohm.t_s
    known = [t_s for t_s in shared if t_s is not None]
    return own if own in shared else min(known) if known else None


def class_page(title: str, teams: Sequence[Team]) -> str:
    """The page's HTML. Raises UsageError for no team, and where no time is common to all."""
    if not teams:
        raise UsageError("no_results", "There is no result to show.", "Name some files")
    t_s = common_time_s(teams)
    r_name = "r" if t_s is None else f"r({instant(t_s)})"
    found = [(team.name, _r_at(team.result, t_s)) for team in teams]
    emfs = [(team.name, team.result.emf_v) for team in teams if team.result.emf_v is not None]
    parts = [_picture(r_name, "Ω", found)]
    if emfs:
        parts.append(_picture("E", "V", emfs))
    parts += [
        section("All results", tag("div", _table(teams, r_name, t_s), class_="wide")),
        ruled("Conclusions", "Who agrees with whom, and what explains the rest?"),
    ]
    ids = "; ".join(f"{team.name}: {team.result.id}" for team in teams)
    return page(title, counted(len(teams), "result"), parts, f"Results {ids}.")


def _r_at(result: Result, t_s: float | None) -> Quantity:
    return next(at for at in (result.r_ohm, *result.r_at) if at.t_s == t_s)


def _picture(name: str, unit: str, found: Sequence[tuple[str, Quantity]]) -> Html:
    middle = median(quantity.value for _, quantity in found)
    lines = [Interval(who, one.value, expanded(one)) for who, one in found]
    held = sum(line.half is not None and abs(line.value - middle) <= line.half for line in lines)
    picture = intervals(f"{name} by team", f"{name} / {unit}", lines, middle)
    return section(
        f"{name} by team",
        drawn(picture, f"Each team's value and 95 % interval; the upright line is the median of "
                       f"all. {held} of {counted(len(lines), 'interval')} hold it."),
    )  # fmt: skip


def _table(teams: Sequence[Team], r_name: str, t_s: float | None) -> Html:
    heads = ["team", "cell", f"{r_name} / Ω", "E / V", "current"]
    body: list[list[Piece]] = []
    for team in teams:
        result = team.result
        r_ohm, emf = _r_at(result, t_s), result.emf_v
        body.append(
            [
                team.name,
                result.designation or NOT_STATED,
                bare_figure(r_ohm.value, expanded(r_ohm)),
                "" if emf is None else bare_figure(emf.value, expanded(emf)),
                "" if result.current_a is None else amperes(result.current_a.value),
            ]
        )
    return rows(heads, body)
