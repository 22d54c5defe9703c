# SPDX-License-Identifier: MIT
"""A simulated rig for studies: asked seldom how it fares, its record read where it lies.

    with open_near("virtual://lr6?seed=7") as rig: ...

The circuit, the firmware and every command are those of any simulated rig; what is left out is
the asking while a step runs, and the record's way over the wire in some 250 replies, which take
two fifths of a draw's time. `tests/virtual/test_near_rig.py` holds it against the whole way.
"""

import numpy as np
from numpy.typing import NDArray

from sagline.calibrations import Calibration
from sagline.device.rig import Rig
from sagline.virtual.port import VirtualPort


class NearRig(Rig):
    """A rig that is simulated in this program."""

    watch_s = 0.5

    def _points(self) -> NDArray[np.int64]:
        port = self._link.port
        assert isinstance(port, VirtualPort)
        record = port.board.engine.sampler
        return np.array([record.point(index) for index in range(record.count)], dtype=np.int64)


def open_near(address: str, calibration: Calibration | None = None) -> NearRig:
    """Open the simulated rig at `address`, with this calibration or that which its board keeps."""
    return NearRig.open(address, None, calibration)
