# SPDX-License-Identifier: MIT
"""How often do the intervals of readings by hand hold the truth, how wide are they? (simulated)

    python tests/bench/hand_coverage.py [--draws 4000] [--from 0] [--only wire] [--json]

A draw is a cell of random E and r, loads of random ratio to r, and a person who reads it: with an
instrument that is off by a normal error of the stated u and readings that scatter, or with a
perfect one whose last digit is all that is left open. For the line and several loads on the wire
also readings that scatter by several digits while nobody states it. The sheets are text, as
typed. Exit status 1 where a row covers in less than 94 % or more than 96 % (or three binomial
standard deviations, where that is more), or has a mean error above 0.1 u.

4000 draws take some four minutes of a processor.
"""

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.draws import Figure
from bench.tally import Cover
from sagline.analysis.hand.estimate import estimate
from sagline.analysis.hand.fields import LINE, SLIDEWIRE, VOLTMETER
from sagline.analysis.hand.sheet import Sheet
from sagline.analysis.values import AnalysisError, Quantity

Made = tuple[Sheet, float, float]
"""What was typed, and the true r (ohm) and E (V)."""

ALLOWED = 0.01


class Person:
    """One cell and whoever reads it, drawn from a number."""

    def __init__(self, seed: tuple[int, ...]) -> None:
        self.rng = np.random.default_rng(seed)
        self.emf_v = float(np.exp(self.rng.uniform(np.log(1.2), np.log(12.0))))
        self.r_ohm = float(np.exp(self.rng.uniform(np.log(0.1), np.log(10.0))))

    def load_ohm(self, least: float = 1.0, most: float = 15.0) -> float:
        """A load of so many times r, evenly by ratio."""
        return self.r_ohm * float(np.exp(self.rng.uniform(np.log(least), np.log(most))))

    def loads_ohm(self, count: int) -> list[float]:
        """Loads well apart, from r to 15 r."""
        middles = np.geomspace(1.2, 12.0, count)
        return [self.r_ohm * float(m * np.exp(self.rng.uniform(-0.1, 0.1))) for m in middles]

    def terminal_v(self, load_ohm: float) -> float:
        """V on this load."""
        return self.emf_v * load_ohm / (load_ohm + self.r_ohm)

    def read(
        self, name: str, true: float, u: float, scatter: float, n: int
    ) -> list[tuple[str, str]]:
        """`n` readings with an instrument that is off by a normal error of `u`."""
        off = true + u * self.rng.standard_normal()
        return [(name, f"{off + scatter * self.rng.standard_normal():.9f}") for _ in range(n)]

    def rounded(self, name: str, true: float, places: int) -> list[tuple[str, str]]:
        """One perfect reading, rounded."""
        return [(name, f"{true:.{places}f}")]


def voltmeter_stated(who: Person) -> Made:
    """Both voltages n times with a meter of known u; a load of known u."""
    load = who.load_ohm()
    u_v = 0.002 * who.emf_v * who.rng.uniform(0.2, 1.0)
    n, scatter = int(who.rng.choice([1, 4, 6])), u_v * who.rng.uniform(0.0, 2.0)
    if n == 1:
        scatter = 0.0
    typed_load = load * (1.0 + 0.005 * who.rng.standard_normal())
    entries = who.read("open", who.emf_v, u_v, scatter, n)
    entries += who.read("loaded", who.terminal_v(load), u_v, scatter, n)
    entries.append(("load", f"{typed_load:.9f}"))
    options = {"u_volts": f"{u_v:.12f}", "u_ohm": "0.5%"}
    return Sheet(VOLTMETER, tuple(entries), options), who.r_ohm, who.emf_v


def voltmeter_amps(who: Person) -> Made:
    """The whole read anew five times on one load, current and all; E drifts meanwhile."""
    load, u_v, u_a = who.load_ohm(), 0.001 * who.emf_v, 0.003
    off = u_v * who.rng.standard_normal(2)
    scale_a = 1.0 + u_a * who.rng.standard_normal()
    entries = []
    for emf_v in who.emf_v * (1.0 + 0.001 * who.rng.standard_normal(5)):
        current = emf_v / (load + who.r_ohm)
        pair = (emf_v + off[0], emf_v - who.r_ohm * current + off[1])
        noise = 0.0005 * who.emf_v * who.rng.standard_normal(2)
        entries += [("open", f"{pair[0] + noise[0]:.9f}"), ("loaded", f"{pair[1] + noise[1]:.9f}")]
        entries.append(("amps", f"{current * scale_a:.9f}"))
    options = {"u_volts": f"{u_v:.12f}", "u_amps": "0.3%"}
    return Sheet(VOLTMETER, tuple(entries), options), who.r_ohm, who.emf_v


def voltmeter_digit(who: Person) -> Made:
    """A perfect meter of three decimals, a load typed to three digits."""
    load = float(f"{who.load_ohm():.3g}")
    true_load = load + who.rng.uniform(-0.5, 0.5) * 10.0 ** -_places(load)
    entries = who.rounded("open", who.emf_v, 3)
    entries += who.rounded("loaded", who.terminal_v(true_load), 3)
    entries.append(("load", f"{load:.{_places(load)}f}"))
    return Sheet(VOLTMETER, tuple(entries)), who.r_ohm, who.emf_v


def line_loads(who: Person) -> Made:
    """Four to seven loads with u of volts and ohms stated."""
    u_v = 0.001 * who.emf_v
    entries = []
    for load in who.loads_ohm(int(who.rng.integers(4, 8))):
        entries += who.read("loaded", who.terminal_v(load), u_v, 0.0, 1)
        entries.append(("load", f"{load * (1.0 + 0.003 * who.rng.standard_normal()):.9f}"))
    options = {"u_volts": f"{u_v:.12f}", "u_ohm": "0.3%"}
    return Sheet(LINE, tuple(entries), options), who.r_ohm, who.emf_v


def line_amps(who: Person) -> Made:
    """Three to six currents with u of volts and amperes stated."""
    u_v = 0.001 * who.emf_v
    entries = []
    for load in who.loads_ohm(int(who.rng.integers(3, 7))):
        v = who.terminal_v(load)
        entries += who.read("loaded", v, u_v, 0.0, 1)
        entries.append(("amps", f"{v / load * (1.0 + 0.003 * who.rng.standard_normal()):.9f}"))
    options = {"u_volts": f"{u_v:.12f}", "u_amps": "0.3%"}
    return Sheet(LINE, tuple(entries), options), who.r_ohm, who.emf_v


def line_scatter(who: Person) -> Made:
    """Six currents; volts scatter by ten digits, and nobody states it."""
    entries = []
    for load in who.loads_ohm(6):
        v = who.terminal_v(load)
        entries.append(("loaded", f"{v + 0.01 * who.rng.standard_normal():.3f}"))
        entries.append(("amps", f"{v / load:.6f}"))
    return Sheet(LINE, tuple(entries)), who.r_ohm, who.emf_v


def wire_stated(who: Person) -> Made:
    """Lengths n times with u stated, a null width, an end correction; gradient for E."""
    per_cm = who.emf_v / who.rng.uniform(60.0, 95.0)
    load, null = who.load_ohm(), 0.2
    end = 0.4 + who.rng.uniform(-0.05, 0.05)
    n = int(who.rng.choice([1, 4, 6]))
    scatter = 0.0 if n == 1 else 0.05
    entries = []
    for name, volts in (("open", who.emf_v), ("loaded", who.terminal_v(load))):
        missed = null * who.rng.uniform(-0.5, 0.5)
        entries += who.read(name, volts / per_cm - end + missed, 0.05, scatter, n)
    entries.append(("load", f"{load * (1.0 + 0.005 * who.rng.standard_normal()):.9f}"))
    options = {"u_length": "0.05", "u_ohm": "0.5%", "null_width": f"{null}",
               "end_correction": "0.4", "gradient": f"{per_cm:.12f}"}  # fmt: skip
    return Sheet(SLIDEWIRE, tuple(entries), options), who.r_ohm, who.emf_v


def wire_loads(who: Person) -> Made:
    """One open length and five loads, u stated."""
    per_cm = who.emf_v / who.rng.uniform(60.0, 95.0)
    entries = who.read("open", who.emf_v / per_cm, 0.1, 0.0, 1)
    for load in who.loads_ohm(5):
        entries += who.read("loaded", who.terminal_v(load) / per_cm, 0.1, 0.0, 1)
        entries.append(("load", f"{load * (1.0 + 0.003 * who.rng.standard_normal()):.9f}"))
    options = {"u_length": "0.1", "u_ohm": "0.3%", "gradient": f"{per_cm:.12f}"}
    return Sheet(SLIDEWIRE, tuple(entries), options), who.r_ohm, who.emf_v


def wire_scatter(who: Person) -> Made:
    """The same without a stated u: lengths scatter by three of their last digits."""
    per_cm = who.emf_v / who.rng.uniform(60.0, 95.0)
    entries = [("open", f"{who.emf_v / per_cm + 0.3 * who.rng.standard_normal():.1f}")]
    for load in who.loads_ohm(6):
        length = who.terminal_v(load) / per_cm + 0.3 * who.rng.standard_normal()
        entries += [("loaded", f"{length:.1f}"), ("load", f"{load:.9f}")]
    options = {"gradient": f"{per_cm:.12f}"}
    return Sheet(SLIDEWIRE, tuple(entries), options), who.r_ohm, who.emf_v


SCENES: dict[str, Callable[[Person], Made]] = {
    "voltmeter, stated": voltmeter_stated,
    "voltmeter, five times": voltmeter_amps,
    "voltmeter, last digit": voltmeter_digit,
    "line on loads, stated": line_loads,
    "line on currents, stated": line_amps,
    "line, by its scatter": line_scatter,
    "wire, stated": wire_stated,
    "wire, five loads": wire_loads,
    "wire, by its scatter": wire_scatter,
}


def _places(value: float) -> int:
    """Decimals of a value with three digits."""
    return max(0, 2 - int(np.floor(np.log10(value))))


def figure(quantity: Quantity | None, true: float) -> Figure | None:
    """The figure with its truth; None without an interval."""
    if quantity is None or quantity.u is None:
        return None
    if quantity.low95 is None or quantity.high95 is None:
        return None
    return Figure(quantity.value, quantity.u, quantity.low95, quantity.high95, true)


def study(name: str, first: int, draws: int) -> dict[str, Cover | None]:
    """The covers of r and E of one scene; refusals count as draws without a figure."""
    found: dict[str, list[Figure]] = {"r": [], "E": []}
    place = list(SCENES).index(name)
    for number in range(first, first + draws):
        sheet, r_ohm, emf_v = SCENES[name](Person((number, place)))
        try:
            said = estimate(sheet)
        except AnalysisError:
            continue
        for key, one in (("r", figure(said.r, r_ohm)), ("E", figure(said.emf, emf_v))):
            if one is not None:
                found[key].append(one)
    return {key: Cover.of(figures) for key, figures in found.items()}


def main() -> int:
    """Run, print, judge."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--draws", type=int, default=4000)
    parser.add_argument("--from", type=int, default=0, dest="first")
    parser.add_argument("--only", default="", help="scenes with this in their name")
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    wrong, rows = [], {}
    for name in (one for one in SCENES if args.only in one):
        covers = study(name, args.first, args.draws)
        for key, cover in covers.items():
            if cover is None:
                continue
            rows[f"{name}: {key}"] = cover
            print(
                f"{name:<26} {key}  {cover.n:>6}  held {cover.share:6.2%}  "
                f"U {cover.half_rel:7.2%} of the truth  bias {cover.bias:+.2f} u  "
                f"s.d. {cover.sd:.2f} u",
                file=sys.stderr if args.json else sys.stdout,
                flush=True,
            )
            wrong += [f"{name}: {key} {said}" for said in cover.wrong(ALLOWED)]
    if args.json:
        print(json.dumps({key: vars(cover) for key, cover in rows.items()}, indent=2))
    print(*wrong, sep="\n", file=sys.stderr)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
