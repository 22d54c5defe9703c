# SPDX-License-Identifier: MIT
"""A virtual cell's equivalent circuit: numbers only; the physics is in `circuit.py`."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Origin:
    """Where a value comes from: the range it was chosen in, in the value's unit, and whose."""

    low: float
    high: float
    text: str


@dataclass(frozen=True)
class Cell:
    """A cell's equivalent circuit.

    rc: pairs (ohm, time constant in s) in series; `diffusion_ohm_per_sqrt_s` is w in
    R_d(t) = w·√t, the rise of voltage per ampere of a step of constant current; `emf_slope_v`
    is the fall of the EMF over the full capacity. `origin` has an entry for each of these
    numbers, two for rc: `rc_ohm` and `rc_s`. Raises ValueError on values without meaning.
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
    origin: Mapping[str, Origin] = field(compare=False, default_factory=dict)

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
