# SPDX-License-Identifier: MIT
"""How the cell is connected to the rig: what hands can change and what can come loose."""

from dataclasses import dataclass
from typing import Literal

Lead = Literal["sense_pos", "sense_neg", "force_pos", "force_neg"]
Side = Literal["cell", "load"]
LEADS: tuple[Lead, ...] = ("sense_pos", "sense_neg", "force_pos", "force_neg")


@dataclass(frozen=True)
class Wiring:
    """Clips, polarity and what was put between.

    `lost` leads touch nothing. `series_ohm` is a resistor between the cell's positive terminal
    and the force clip; `tap` says on which side of it the positive sense clip sits.
    `sense_shorted` puts that clip on the negative terminal instead, `force_shorted` the positive
    force clip, resistor and all.
    """

    present: bool = True
    reversed: bool = False
    lost: frozenset[Lead] = frozenset()
    sense_shorted: bool = False
    force_shorted: bool = False
    series_ohm: float = 0.0
    tap: Side = "cell"

    @property
    def whole(self) -> bool:
        """Whether all four leads sit where they belong on a cell the right way round."""
        shorted = self.sense_shorted or self.force_shorted
        return self.present and not (self.reversed or self.lost or shorted)

    @property
    def inside_ohm(self) -> float:
        """What the series resistor adds to the cell, as the sense leads see it."""
        return self.series_ohm if self.tap == "load" else 0.0

    @property
    def outside_ohm(self) -> float:
        """What the series resistor adds to the force path."""
        return self.series_ohm if self.tap == "cell" else 0.0
