# SPDX-License-Identifier: MIT
"""What the drawn circuit is predicted to do, from the decks that ngspice runs."""

from __future__ import annotations

import re
from collections.abc import Callable

from tools import faults, nulling, predict
from tools.firmware import PROFILE
from tools.netlist import Netlist

Figures = dict[str, float]
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
_HEAD = """# What the drawn circuit is predicted to do

Made by `python hardware/make.py` from the drawing; **simulated** (ngspice, generic models) and
reckoned. Nothing was measured: no board exists. The decks are in `decks/`: run one with
`ngspice -b`. How the rig settles after an edge is simulated by the tests: verification.md.

## Error of r and EMF

Resistive cells, at their operating points. *Circuit* is the error with every part as marked.
*Parts* holds 95 of 100 boards as built, every tolerance of load, dividers, switches and reference
a rectangle; a calibration takes most of it away. The three ways to read the sag each add their
linearity at both ends of it, as their limits in the profile allow; noise is not in it. The null
channel's includes how its range matches the plain one, and its movement with the load. The base
build has one switch, and so has its profile.

"""


def decks(netlist: Netlist) -> dict[str, str]:
    """Deck's name to deck, everything that the report needs."""
    made = {_slug("error", case.name): predict.deck(netlist, case) for case in predict.CASES}
    made |= nulling.decks(netlist)
    made |= {_slug("fault", each.name): faults.deck(netlist, each) for each in faults.FAULTS}
    return made


def _slug(kind: str, name: str) -> str:
    return "-".join([kind, *re.findall(r"[a-z0-9]+", name.lower())])


def report(netlist: Netlist, run: Callable[[str], Figures]) -> str:
    """The report, each deck's figures by `run`. Raises KeyError where a deck gave none."""
    figures = {name: run(deck) for name, deck in decks(netlist).items()}
    rows = [
        "| cell | load, range | current mA | sag mV | gate V | r: circuit % | parts % "
        "| own converter % | 16 bits % | null % | EMF: circuit % | parts % |",
        "|" + "---|" * 12,
    ]
    for case in predict.CASES:
        rows.append(_case(netlist, case, figures[_slug("error", case.name)]))
    rows += ["", "## Null channel", "", "| what | predicted |", "|---|---|"]
    rows += [f"| {what} | {_short(value)} {unit} |" for what, value, unit in nulling.lines(figures)]
    rows += [
        "", "## Faults", "",
        "Full build, a cell of 0.05 ohm. Pins are the three that both converters read.", "",
        "| fault | cell gives mA | lowest pin V | highest pin V | RET V |", "|---|---|---|---|---|",
    ]  # fmt: skip
    for fault in faults.FAULTS:
        at = figures[_slug("fault", fault.name)]
        pins = [at[f"at_{pin}"] for pin in predict.PINS]
        cells = (_short(abs(at["at_amperes"]) * 1e3), *map(_volts, (min(pins), max(pins))))
        rows.append(f"| {fault.name} | {' | '.join(cells)} | {_volts(at['at_ret'])} |")
    return _HEAD + "\n".join(rows) + "\n"


def _case(netlist: Netlist, case: predict.Case, figures: Figures) -> str:
    found = predict.found(netlist, case, figures)
    ohm = PROFILE.LOADS[case.load]["load_milliohm"] / 1e3
    ways = [found.converter.get(way) for way in ("own", "fine", "null")]
    cells = [
        case.name, f"{ohm:g} ohm, {'16.5' if case.high else '4.5'} V", _short(found.amperes * 1e3),
        _short(found.sag_v * 1e3), _volts(figures["gate_1_marked"]),
        _percent(found.bias_r), _percent(found.parts_r),
        *("not fitted" if way is None else _percent(way) for way in ways),
        _percent(found.bias_emf), _percent(found.parts_emf),
    ]  # fmt: skip
    return f"| {' | '.join(cells)} |"


def _short(value: float) -> str:
    """Two significant digits, no exponent."""
    if abs(value) < 0.01:
        return "below 0.01"
    return f"{float(f'{value:.2g}'):.10g}"


def _percent(share: float) -> str:
    return _short(share * 100.0)


def _volts(value: float) -> str:
    return f"{round(value, 2) + 0.0:.2f}"


def same(one: str, other: str) -> bool:
    """Whether two reports say the same: word for word, and numbers to the last digits shown.

    Simulators of other versions and processors differ there: a tenth of it, or 0.02.
    """
    if _NUMBER.sub("#", one) != _NUMBER.sub("#", other):
        return False
    pairs = zip(_NUMBER.findall(one), _NUMBER.findall(other), strict=True)
    return all(
        abs(float(a) - float(b)) <= max(0.02, 0.1 * max(abs(float(a)), abs(float(b))))
        for a, b in pairs
    )
