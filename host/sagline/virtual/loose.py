# SPDX-License-Identifier: MIT
"""The rig with a lead off, a cell the wrong way round or none: solved node by node.

Here the ground tie matters, which a rig in order hardly feels: the return node hangs on
10 kohm beside a diode, anode at ground, as soon as either negative lead is lost.

Not modelled: clamps inside the chips (the followers' outputs end where the converter's page
says), fuses that blow, the capacitor across the ground tie.
"""

import numpy as np
from numpy.typing import NDArray

from sagline.virtual.network import FORCE, RETURN, SENSE, Network, Tangent, load_siemens
from sagline.virtual.parts import Parts
from sagline.virtual.schottky import GROUND_TIE, Schottky
from sagline.virtual.wiring import Wiring
from sagline_board import profile

Floats = NDArray[np.float64]

_PLUS, _MINUS, _SENSE, _ANODE, _FORCE, _RETURN = range(6)
_GROUND = -1
_TAPS = (_SENSE, _FORCE, _RETURN)

# Every node leaks a little, which also gives one that touches nothing a voltage.
_LEAK_S = 1e-10
# The positive sense lead; it carries microamperes.
_SENSE_LEAD_S = 20.0
_LEAST_PATH_OHM = 1e-6

_SETTLED_V = 1e-9
_MAX_ROUNDS = 200


class _Nodes:
    """Conductances and currents into nodes; the currents in two columns: constant, per u."""

    def __init__(self) -> None:
        self.siemens = np.eye(6) * _LEAK_S
        self.amperes = np.zeros((6, 2))

    def between(self, a: int, b: int, siemens: float) -> None:
        for node, other in ((a, b), (b, a)):
            if node != _GROUND:
                self.siemens[node, node] += siemens
                if other != _GROUND:
                    self.siemens[node, other] -= siemens

    def into(self, a: int, b: int, amperes: float, column: int = 0) -> None:
        """A current source from b to a."""
        for node, sign in ((a, 1.0), (b, -1.0)):
            if node != _GROUND:
                self.amperes[node, column] += sign * amperes

    def with_diode(self, a: int, b: int, intercept_v: float, ohm: float) -> "_Nodes":
        other = _Nodes()
        other.siemens, other.amperes = self.siemens.copy(), self.amperes.copy()
        other.between(a, b, 1.0 / ohm)
        other.into(a, b, intercept_v / ohm)
        return other

    def solve(self) -> Floats:
        """Voltages (6, 2): constant and per u."""
        return np.linalg.solve(self.siemens, self.amperes).astype(np.float64)


def _across(volts: Floats, a: int, b: int) -> Floats:
    ground = np.zeros(volts.shape[1])
    return (volts[a] if a != _GROUND else ground) - (volts[b] if b != _GROUND else ground)


def loose(
    parts: Parts, wiring: Wiring, r_ohm: float, mask: int, range_high: bool, u: float
) -> Network:
    """The rig as `wiring` has it, linearised at u; r_ohm is the cell's.

    Raises ArithmeticError where the diodes find no operating point.
    """
    nodes = _wired(parts, wiring, r_ohm, mask, range_high)
    diodes: list[tuple[int, int, Schottky]] = [
        (_ANODE, _FORCE, parts.schottky),
        (_GROUND, _RETURN, GROUND_TIE),
    ]
    # Each diode is solved exactly against the network with the other's tangent, in turns.
    tangents = [(0.0, diode.blocking_ohm) for *_, diode in diodes]
    drops = [0.0, 0.0]
    for _ in range(_MAX_ROUNDS):
        moved = 0.0
        for k, (a, b, diode) in enumerate(diodes):
            others = nodes.with_diode(*diodes[1 - k][:2], *tangents[1 - k])
            open_v, ohm = _source(others, a, b, u)
            current_a, *tangent = diode.through(open_v, ohm)
            drop_v = tangent[0] + tangent[1] * current_a
            moved = max(moved, abs(drop_v - drops[k]))
            drops[k], tangents[k] = drop_v, (tangent[0], tangent[1])
        if moved < _SETTLED_V:
            break
    else:
        raise ArithmeticError(f"no operating point of the rig as wired: {wiring}")
    for (a, b, _diode), tangent in zip(diodes, tangents, strict=True):
        nodes = nodes.with_diode(a, b, *tangent)
    volts = nodes.solve()
    beta, alpha = _cell_current(volts, wiring, r_ohm)
    return Network(
        alpha=alpha,
        beta=beta,
        tap_slope=volts[_TAPS, 1][:, None],
        tap_zero_v=volts[_TAPS, 0][:, None],
        tangents=tuple(
            _tangent(diode, tangent, _across(volts, a, b))
            for (a, b, diode), tangent in zip(diodes, tangents, strict=True)
        ),
    )


def _wired(parts: Parts, wiring: Wiring, r_ohm: float, mask: int, range_high: bool) -> _Nodes:
    nodes = _Nodes()
    if wiring.present:
        nodes.between(_PLUS, _MINUS, 1.0 / r_ohm)
        nodes.into(_PLUS, _MINUS, _polarity(wiring) / r_ohm, column=1)
        if "sense_pos" not in wiring.lost:
            clip = _MINUS if wiring.sense_shorted else _PLUS
            nodes.between(clip, _SENSE, _SENSE_LEAD_S)
        if "sense_neg" not in wiring.lost:
            nodes.between(_MINUS, _GROUND, 1.0 / max(parts.sense_path_ohm, _LEAST_PATH_OHM))
        if "force_pos" not in wiring.lost:
            clip = _MINUS if wiring.force_shorted else _PLUS
            nodes.between(clip, _ANODE, 1.0 / max(parts.force_path_ohm, _LEAST_PATH_OHM))
        if "force_neg" not in wiring.lost:
            nodes.between(_MINUS, _RETURN, 1.0 / max(parts.return_path_ohm, _LEAST_PATH_OHM))
    nodes.between(_FORCE, _RETURN, load_siemens(parts, mask))
    nodes.between(_RETURN, _GROUND, 1.0 / profile.LEADS["ground_tie_ohm"])
    for channel, tap in zip((SENSE, FORCE, RETURN), _TAPS, strict=True):
        siemens, amperes = parts.channels[channel].loading(parts.reference_v, range_high)
        nodes.between(tap, _GROUND, siemens)
        nodes.into(tap, _GROUND, amperes)
    return nodes


def _polarity(wiring: Wiring) -> float:
    return -1.0 if wiring.reversed else 1.0


def _source(nodes: _Nodes, a: int, b: int, u: float) -> tuple[float, float]:
    """(open voltage, resistance) that the network shows between a and b."""
    probe = np.zeros(6)
    for node, sign in ((a, 1.0), (b, -1.0)):
        if node != _GROUND:
            probe[node] = sign
    sources = np.column_stack((nodes.amperes @ (1.0, u), probe))
    columns = np.linalg.solve(nodes.siemens, sources).astype(np.float64)
    open_v, ohm = _across(columns, a, b)
    return float(open_v), float(ohm)


def _cell_current(volts: Floats, wiring: Wiring, r_ohm: float) -> tuple[float, float]:
    if not wiring.present:
        return 0.0, 0.0
    zero_v, slope = _polarity(wiring) * _across(volts, _PLUS, _MINUS)
    return float(-zero_v / r_ohm), float((1.0 - slope) / r_ohm)


def _tangent(diode: Schottky, tangent: tuple[float, float], across: Floats) -> Tangent:
    intercept_v, ohm = tangent
    zero_v, slope = across
    return Tangent(diode, intercept_v, ohm, float(slope / ohm), float((zero_v - intercept_v) / ohm))
