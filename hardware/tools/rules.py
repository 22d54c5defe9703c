# SPDX-License-Identifier: MIT
"""All rules, by name, and what they find in both builds."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tools.circuit import Circuit
from tools.connections import CONNECTIONS
from tools.netlist import Netlist
from tools.ratings import RATINGS
from tools.reading import READING
from tools.sameness import SAMENESS

BUILDS = ("full", "base")
RULES: dict[str, Callable[[Circuit], list[str]]] = {
    rule.__name__: rule for rule in (*CONNECTIONS, *READING, *RATINGS, *SAMENESS)
}


def findings(netlist: Netlist, profile: Any) -> dict[str, list[str]]:
    """Rule's name to what it finds; only rules that find something.

    A rule that cannot even be applied to what is drawn has found something too.
    """
    found: dict[str, list[str]] = {}
    for build in BUILDS:
        circuit = Circuit(netlist.build(build), profile, build)
        for name, rule in RULES.items():
            try:
                said = rule(circuit)
            except (KeyError, IndexError) as error:
                said = [f"what it looks for is not there: {error}"]
            if said:
                found.setdefault(name, []).extend(f"{build}: {each}" for each in said)
    return found
