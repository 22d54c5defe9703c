# SPDX-License-Identifier: MIT
"""One direction of a bad cable: bytes lost, changed, doubled or put in by chance."""

from collections.abc import Mapping

import numpy as np


class NoisyLine:
    """Damages bytes at given rates; each byte has its own draws, however the bytes come cut."""

    def __init__(self, rates: Mapping[str, float], rng: np.random.Generator) -> None:
        self._lost = rates.get("bytes_lost", 0.0)
        self._flipped = rates.get("bytes_flipped", 0.0)
        self._doubled = rates.get("bytes_doubled", 0.0)
        self._inserted = rates.get("bytes_inserted", 0.0)
        self._sound = not any(rates.values())
        self._rng = rng

    def carry(self, data: bytes) -> bytes:
        """Return what arrives of `data`."""
        if self._sound or not data:
            return data
        chance = self._rng.random((len(data), 6))
        hit = chance[:, :4] < (self._lost, self._flipped, self._doubled, self._inserted)
        if not hit.any():
            return data
        arrived = bytearray()
        for byte, (lost, flipped, doubled, inserted), (bit, other) in zip(
            data, hit.tolist(), chance[:, 4:].tolist(), strict=True
        ):
            if flipped:
                byte ^= 1 << int(8 * bit)
            if not lost:
                arrived += bytes([byte] * (2 if doubled else 1))
            if inserted:
                arrived.append(int(256 * other))
        return bytes(arrived)
