# SPDX-License-Identifier: MIT
"""The cells a virtual rig can hold. Data only; the physics is in `circuit.py`.

No cell here was measured: the values are invented inside ranges that are typical of the kind,
and `origin` gives the range and its standing for each of them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType


@dataclass(frozen=True)
class Cell:
    """A cell's equivalent circuit.

    rc: pairs (ohm, time constant in s) in series; `diffusion_ohm_per_sqrt_s` is w in
    R_d(t) = w·√t, the rise of voltage per ampere of a step of constant current; `emf_slope_v`
    is the fall of the EMF over the full capacity. Raises ValueError on values without meaning.
    """

    name: str
    title: str
    designation: str
    emf_v: float
    r_instant_ohm: float
    rc: tuple[tuple[float, float], ...]
    diffusion_ohm_per_sqrt_s: float
    capacity_ah: float
    emf_slope_v: float
    temperature_c: float
    origin: Mapping[str, str] = field(compare=False)

    def __post_init__(self) -> None:
        if not self.r_instant_ohm > 0:
            raise ValueError("r_instant_ohm must be positive")
        if any(not (ohm > 0 and tau_s > 0) for ohm, tau_s in self.rc):
            raise ValueError("rc: every resistance and time constant must be positive")
        if not self.diffusion_ohm_per_sqrt_s >= 0:
            raise ValueError("diffusion_ohm_per_sqrt_s must not be negative")
        if not self.capacity_ah > 0:
            raise ValueError("capacity_ah must be positive")
        if not self.emf_slope_v >= 0:
            raise ValueError("emf_slope_v must not be negative")


def _origin(**ranges: str) -> Mapping[str, str]:
    standing = "typical range, from memory"
    return MappingProxyType(
        {key: f"invented within {text}: {standing}" for key, text in ranges.items()}
    )


_ALL = (
    Cell(
        name="lr6",
        title="alkaline AA, fresh",
        designation="LR6",
        emf_v=1.58,
        r_instant_ohm=0.110,
        rc=((0.018, 0.0015), (0.024, 0.030)),
        diffusion_ohm_per_sqrt_s=0.030,
        capacity_ah=2.5,
        emf_slope_v=0.55,
        temperature_c=23.0,
        origin=_origin(
            emf_v="1.55 to 1.62 V when fresh",
            r_instant_ohm="0.08 to 0.15 ohm; 0.1 to 0.3 ohm at 0.1 s",
            rc="10 to 50 milliohm, about 1 ms (charge transfer) and 10 to 100 ms",
            diffusion_ohm_per_sqrt_s="0.01 to 0.1 ohm per root second",
            capacity_ah="2 to 3 Ah at low current",
            emf_slope_v="0.4 to 0.7 V from fresh to flat",
            temperature_c="20 to 25 degC, a room",
        ),
    ),
    Cell(
        name="lr6-worn",
        title="alkaline AA, worn",
        designation="LR6",
        emf_v=1.31,
        r_instant_ohm=0.28,
        rc=((0.050, 0.0015), (0.070, 0.040)),
        diffusion_ohm_per_sqrt_s=0.090,
        capacity_ah=0.5,
        emf_slope_v=0.35,
        temperature_c=23.0,
        origin=_origin(
            emf_v="1.2 to 1.4 V when most of the charge is gone",
            r_instant_ohm="two to four times that of a fresh one",
            rc="two to four times that of a fresh one, about 1 ms and 10 to 100 ms",
            diffusion_ohm_per_sqrt_s="0.01 to 0.1 ohm per root second, towards the upper end",
            capacity_ah="0.2 to 0.8 Ah left",
            emf_slope_v="0.2 to 0.5 V from there to flat",
            temperature_c="20 to 25 degC, a room",
        ),
    ),
    Cell(
        name="6lr61",
        title="alkaline 9 V block, fresh",
        designation="6LR61",
        emf_v=9.42,
        r_instant_ohm=1.25,
        rc=((0.22, 0.0015), (0.31, 0.030)),
        diffusion_ohm_per_sqrt_s=0.40,
        capacity_ah=0.55,
        emf_slope_v=3.2,
        temperature_c=23.0,
        origin=_origin(
            emf_v="9.3 to 9.7 V when fresh, six cells in series",
            r_instant_ohm="1 to 2 ohm; 1 to 3 ohm at 0.1 s",
            rc="0.1 to 0.6 ohm, about 1 ms (charge transfer) and 10 to 100 ms",
            diffusion_ohm_per_sqrt_s="0.1 to 1 ohm per root second",
            capacity_ah="0.5 to 0.6 Ah at low current",
            emf_slope_v="2.4 to 4.2 V from fresh to flat",
            temperature_c="20 to 25 degC, a room",
        ),
    ),
)

CELLS: Mapping[str, Cell] = MappingProxyType({cell.name: cell for cell in _ALL})
