# SPDX-License-Identifier: MIT
"""The report of one run: question, circuit, readings, drawings, working, budgets, result."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from math import hypot, sqrt
from typing import Literal

from sagline.analysis.calibration import Waveform
from sagline.anyrecord import AnyRecord
from sagline.errors import sentence
from sagline.report.circuit import circuit
from sagline.report.markup import Html, Piece, join, rows, tag
from sagline.report.page import figure as drawn
from sagline.report.page import listing, page, ruled, section
from sagline.report.plot import Curve, Dot, Note, plot, shares
from sagline.results import Line, Result
from sagline.teaching import Exercise
from sagline.wording import (
    amperes,
    bare_figure,
    counted,
    coverage,
    expanded,
    figure,
    instant,
    ohms,
    volts,
    wrapped,
)
from sagline.working import working_lines

Kind = Literal["whole", "student", "teacher", "blank"]
"""All of it; without what a student is to find; that with the answers; an empty sheet."""

METHOD_WORDS = (
    "A cell is taken for an ideal EMF E in series with an internal resistance r. With the key "
    "open no current flows, and the voltage at the terminals is E. With the key closed a current I "
    "flows through the load and the voltage falls to V, so that r = (E − V) / I. The voltage is "
    "read at the cell's own terminals, by leads that carry no current."
)
SAFETY_WORDS = (
    "Never short a cell. Close the key for moments only; a load gets hot. Keep to the data sheet "
    "of the cell and to the rules of your laboratory."
)
CURVE_POINTS = 60
COLUMNS = 72
"""So many characters go side by side into the page's widest listing."""
LEAST_LINE, LEAST_BAR = 0.001, 0.005
"""Of u²: less is nothing to read, or no bar."""


@dataclass(frozen=True)
class Shown:
    """What a report is made of: a run's record, one of its results, and the step that is drawn
    with the time (s) that its load was on, where a rig recorded one."""

    record: AnyRecord
    result: Result
    waveform: Waveform | None = None
    on_s: float = 0.0


def report(shown: Shown, kind: Kind = "whole") -> str:
    """The HTML of a report. Raises UsageError where a student's sheet has nothing to give."""
    result, record = shown.result, shown.record
    name = result.label or result.designation or "a cell"
    title = f"Internal resistance of {name}"
    parts = [_question(), _about(shown), _method(result)]
    if kind in ("student", "teacher"):
        parts.append(section("Readings", listing(Exercise.of(result).lines())))
    elif kind == "whole":
        parts.append(_readings(result))
    if kind != "blank":
        parts += _step(shown)
    if kind == "blank":
        parts += [_empty_table(), ruled("Working", "r = R (E / V − 1), for each repeat:")]
    elif kind == "student":
        parts += [
            ruled("Working", "Write the equation, put the numbers in, give r with its unit:"),
            ruled("How sure is it?", "What may r be off by, and why?", 4),
        ]
    else:
        parts += [*_lines(result), _power(result), _working(result), *_budgets(result),
                  _result(result), _cautions(result)]  # fmt: skip
    parts.append(ruled("Conclusions", "In your own words:"))
    lead = f"{result.measured_at.astimezone():%Y-%m-%d %H:%M}"
    lead += ", simulated" if result.kind == "virtual" else ""
    lead += ": with answers" if kind == "teacher" else ""
    return page(title, lead, [one for one in parts if one], cite(record, result))


def cite(record: AnyRecord, result: Result) -> str:
    """What a run is cited by: program, version, method, ids, and the record's hash."""
    text = json.dumps(record.to_dict(), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    made = hashlib.sha256(text.encode()).hexdigest()
    how = {"rig": "measured with", "virtual": "simulated with"}.get(result.kind, "computed with")
    return (
        f"Run {record.id}, {how} sagline {record.sagline}; result {result.id} by method "
        f"{result.method}, sagline {result.sagline}. SHA-256 of the record: {made}."
    )


def _question() -> Html:
    return section(
        "Question", tag("p", "What are the EMF and the internal resistance of this cell, and how "
                             "far can the figures be trusted?")
    )  # fmt: skip


def _about(shown: Shown) -> Html:
    result = shown.result
    temperature = result.conditions.temperature_c
    load, current = result.load_ohm, result.current_a
    given = (
        ("Cell", result.designation),
        ("Label", result.label),
        ("By", result.operator),
        ("Temperature", None if temperature is None else f"{temperature:g} °C"),
        ("Rig", result.rig),
        ("Load", None if load is None else f"{load.value:.4g} Ω"),
        ("Current", None if current is None else amperes(current.value)),
        ("Calibration", result.calibration_id),
    )
    lines = (
        tag("tr", tag("th", name, scope="row"), tag("td", value)) for name, value in given if value
    )
    return tag("table", tag("tbody", *lines), class_="about")


def _method(result: Result) -> Html:
    load = result.load_ohm
    words = "load" if load is None else f"{load.value:.3g} Ω"
    return section(
        "Method",
        drawn(circuit(words), "The cell, a key, a load, and a voltmeter at the cell's terminals."),
        tag("p", METHOD_WORDS),
        tag("p", SAFETY_WORDS),
    )


def _readings(result: Result) -> Html:
    if not result.repeats:
        return section("Readings", listing(list(result.working) or ["see the record"]))
    t_s = result.r_ohm.t_s
    heads = ["repeat", "r / Ω" if t_s is None else f"r({instant(t_s)}) / Ω", "E / V", ""]
    body = [
        [str(row.n), _number(ohms(row.r_ohm)), _number(volts(row.emf_v)),
         "" if row.kept else f"left out: {row.reason}"]
        for row in result.repeats
    ]  # fmt: skip
    return section("Readings", tag("div", rows(heads, body), class_="wide"))


def _empty_table() -> Html:
    heads = ["repeat", "E / V", "V / V", "R / Ω", "r / Ω"]
    empty = Html("&nbsp;")
    return section("Readings", rows(heads, [[str(n), *[empty] * 4] for n in range(1, 6)]))


def _step(shown: Shown) -> list[Html]:
    wave, on_s = shown.waveform, shown.on_s
    if wave is None or not on_s:
        return []
    chosen = (wave.t_s >= -0.35 * on_s) & (wave.t_s <= 2.0 * on_s)
    if not chosen.any():
        return []
    points = list(zip(wave.t_s[chosen].tolist(), wave.sense_v[chosen].tolist(), strict=True))
    t_s = shown.result.r_ohm.t_s
    marks = [0.0, on_s] if t_s is None else [0.0, t_s, on_s]
    picture = plot(
        "Terminal voltage against time", "t / s after load on", "V / V", [Curve(points)],
        x_lines=marks,
    )  # fmt: skip
    said = "" if t_s is None else f", where V is read ({instant(t_s)})"
    return [
        section(
            "Terminal voltage against time",
            drawn(
                picture, f"One step. Marked: where the load goes on{said} and where it goes off."
            ),
        )
    ]


def _lines(result: Result) -> list[Html]:
    """The V-I line with the steepest and the shallowest that its points allow."""
    line = result.line
    if line is None:
        return []
    most_a = max(point.current_a for point in line.points)
    curves = [Curve([(0.0, line.emf_v.value), (most_a, _at(line, most_a))])]
    big_ohm, u_ohm = expanded(line.r_ohm), line.r_ohm.u
    if big_ohm and u_ohm:
        for side in (-1.0, 1.0):
            r_ohm = line.r_ohm.value + side * big_ohm
            # E goes along with r as far as the two hang together.
            emf_v = line.emf_v.value + line.covariance / u_ohm**2 * side * big_ohm
            curves.append(Curve([(0.0, emf_v), (most_a, emf_v - r_ohm * most_a)], bound=True))
    dots = [Dot(one.current_a, one.v_v, _half_v(line, one.current_a)) for one in line.points]
    picture = plot("V against I", "I / A", "V / V", curves, dots)
    return [
        section(
            "V–I line",
            drawn(picture, "V = E − r·I. The bars are how far the line is known at each current "
                           "(95 %); dashed, the steepest and the shallowest line within U of r."),
            tag("p", f"E = {figure(line.emf_v, 'V')}, r = {figure(line.r_ohm, 'Ω')} "
                     f"({coverage(line.r_ohm)})."),
        )
    ]  # fmt: skip


def _at(line: Line, current_a: float) -> float:
    return line.emf_v.value - line.r_ohm.value * current_a


def _half_v(line: Line, current_a: float) -> float | None:
    """U of the line's voltage at a current: the law of propagation, with the covariance."""
    u_v, u_ohm, k = line.emf_v.u, line.r_ohm.u, line.emf_v.k
    if u_v is None or u_ohm is None or k is None:
        return None
    variance = u_v**2 + (current_a * u_ohm) ** 2 - 2.0 * current_a * line.covariance
    return k * sqrt(max(0.0, variance))


def _power(result: Result) -> Html:
    """What a load would get, against its resistance: P = E² R / (R + r)²."""
    emf, r_ohm = result.emf_v, result.r_ohm.value
    if emf is None or r_ohm <= 0.0:
        return Html()
    points = []
    for n in range(CURVE_POINTS + 1):
        load_ohm = 6.0 * r_ohm * n / CURVE_POINTS
        points.append((load_ohm, emf.value**2 * load_ohm / (load_ohm + r_ohm) ** 2))
    top_w = emf.value**2 / (4.0 * r_ohm)
    picture = plot(
        "Power in a load against its resistance", "R / Ω", "P / W", [Curve(points)],
        notes=[Note(r_ohm, 0.88 * top_w, "R = r")], x_lines=[r_ohm],
    )  # fmt: skip
    return section(
        "Power against R",
        drawn(picture, "P = E² R / (R + r)², by the figures found; greatest where R = r. This is "
                       "computed, and for a moment only: no cell bears it for long."),
    )  # fmt: skip


def _working(result: Result) -> Html:
    rigs_own = result.terminal is not None and result.current_a is not None
    lines = working_lines(result) if rigs_own else list(result.working)
    return section("The working", listing(wrapped(lines, COLUMNS))) if lines else Html()


def _budgets(result: Result) -> list[Html]:
    parts = []
    listed = (
        ("r", "mΩ", [(row.source, row.type, 1e3 * row.u_ohm, row.share) for row in result.budget]),
        (
            "E",
            "mV",
            [(row.source, row.type, 1e3 * row.u_v, row.share) for row in result.emf_budget],
        ),
    )
    for name, unit, lines in listed:
        lines = sorted(lines, key=lambda line: -line[3])
        if not lines:
            continue
        whole = hypot(*(u for _, _, u, _ in lines))
        body: list[list[Piece]] = [
            [source, kind, f"{u:.3g}", f"{share:.1%}"]
            for source, kind, u, share in lines
            if share >= LEAST_LINE
        ]
        rest = len(lines) - len(body)
        more = f" {counted(rest, 'source')} below 0.1 % left out of the table." if rest else ""
        seen = [(source, share) for source, _, _, share in lines if share >= LEAST_BAR]
        bars = shares(f"Shares of u² of {name}", seen)
        parts.append(
            section(
                f"What u({name}) is made of",
                tag("div", rows(["source", "type", f"u / {unit}", "share of u²"], body),
                    class_="wide"),
                drawn(bars, f"u({name}) = {whole:.3g} {unit}: the root of the sum of "
                            f"squares.{more}"),
            )
        )  # fmt: skip
    return parts


def _result(result: Result) -> Html:
    r_name = "r" if result.r_ohm.t_s is None else f"r({instant(result.r_ohm.t_s)})"
    inside = [
        tag("p", f"{r_name} = {figure(result.r_ohm, 'Ω')}", class_="big"),
        tag("p", coverage(result.r_ohm)),
    ]
    if result.emf_v is not None:
        inside += [
            tag("p", f"E = {figure(result.emf_v, 'V')}", class_="big"),
            tag("p", coverage(result.emf_v)),
        ]
    others = [
        f"r({instant(at.t_s)}) = {bare_figure(at.value, expanded(at))} Ω"
        for at in result.r_at[1:]
        if at.t_s is not None
    ]
    if others:
        inside.append(tag("p", "; ".join(others)))
    return section("Result", tag("div", join(inside), class_="result"))


def _cautions(result: Result) -> Html:
    if not result.warnings:
        return Html()
    told = (tag("li", sentence(one.text), " ", one.remedy) for one in result.warnings)
    return section("Cautions", tag("ol", *told))


def _number(words: str) -> str:
    """The number alone, where the heading has the unit."""
    return words.split(" ", 1)[0]
