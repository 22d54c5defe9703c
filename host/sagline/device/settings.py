# SPDX-License-Identifier: MIT
"""What one asks of a measurement."""

from dataclasses import dataclass

from sagline.errors import UsageError
from sagline.plaintext import plain_text

MAX_REPEATS = 100
# No cell works beyond; kelvins given for degrees Celsius are.
TEMPERATURES_C = (-100.0, 150.0)


@dataclass(frozen=True)
class Settings:
    """What the user asks of one measurement; None leaves the choice to the plan.

    With `line` a V-I line is made after the repeats. `quick` shortens the rests, for many cells.
    """

    load_ohm: float | None = None
    designation: str | None = None
    repeats: int = 5
    times_s: tuple[float, ...] = (0.1,)
    label: str | None = None
    operator: str | None = None
    temperature_c: float | None = None
    clear_trip: bool = False
    target_u_rel: float | None = None
    line: bool = False
    quick: bool = False

    def __post_init__(self) -> None:
        if not 1 <= self.repeats <= MAX_REPEATS:
            raise UsageError(
                "bad_repeats",
                f"{self.repeats} repeats are not possible.",
                f"Ask for 1 to {MAX_REPEATS}; 5 is usual.",
            )
        for name in ("label", "designation", "operator"):
            object.__setattr__(self, name, plain_text(name, getattr(self, name)))
        if self.target_u_rel is not None and not 0.0 < self.target_u_rel < 1.0:
            raise UsageError(
                "bad_target",
                f"A target of {self.target_u_rel:g} is not possible.",
                "It is U(r)/r, between 0 and 1: 0.01 is 1 %.",
            )
        if self.target_u_rel is not None and self.repeats < 2:
            raise UsageError(
                "bad_target",
                "A target needs the scatter of at least 2 repeats to begin with.",
                "Leave out --repeats; 5 is usual.",
            )
        if not self.times_s or any(not 0.01 <= t <= 10.0 for t in self.times_s):
            raise UsageError(
                "bad_times",
                "Each time must lie between 0.01 s and 10 s after switching.",
                "Ask for example for --times 0.1,1.",
            )
        # Asked for twice, a time is reported once.
        object.__setattr__(self, "times_s", tuple(dict.fromkeys(self.times_s)))
        least_c, most_c = TEMPERATURES_C
        if self.temperature_c is not None and not least_c <= self.temperature_c <= most_c:
            raise UsageError(
                "bad_temperature",
                f"{self.temperature_c:g} °C is no temperature to measure a cell at.",
                f"Give it in °C, from {least_c:g} to {most_c:g}.",
            )
