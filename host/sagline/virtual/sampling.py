# SPDX-License-Identifier: MIT
"""Both converters at work on one circuit: rows of sums as the firmware's contract wants them.

Runs of equal slices are worked out many at a time and handed out one by one,
which is what makes a minute of bench time cheap; a change of the taps throws
away what was worked out beyond it.
"""

import math
from collections import deque

import numpy as np
from numpy.typing import NDArray

from sagline.virtual.circuit import Circuit
from sagline.virtual.converter import Converter
from sagline.virtual.nullchannel import Difference, NullVoltage
from sagline.virtual.parts import Parts
from sagline_board.hardware import ADS_NULL_ORDER, ADS_ORDER
from sagline_board.profile import ADS1115, NULL_DIFFERENCE, ONBOARD, SENSE

CHANNEL_COUNT = 3
# How many equal slices are worked out at once.
_SLICES_AHEAD = 80

# Source, start (us), length (us), conversions, sum of codes.
Row = tuple[int, int, int, int, int]


class Sampling:
    """Samples `circuit`; times are whole microseconds of the rig's clock."""

    def __init__(
        self,
        circuit: Circuit,
        parts: Parts,
        noise: np.random.Generator,
        *,
        onboard: bool,
        ads1115: bool,
        null: bool = False,
    ) -> None:
        self._circuit = circuit
        self._onboard = Converter(parts, ONBOARD, noise) if onboard else None
        self._ads = Converter(parts, ADS1115, noise) if ads1115 else None
        self._order = np.array(ADS_NULL_ORDER if null else ADS_ORDER)
        self.null = NullVoltage(parts.null)
        self._difference = Difference(parts.null, noise)
        self._triple_us = CHANNEL_COUNT * parts.sample_period_s[ONBOARD] * 1e6
        self._ads_us = parts.sample_period_s[ADS1115] * 1e6
        self._ads_start_us = 0.0
        self._ads_slot = 0
        self._segment_start_us = 0
        # Rows not handed out yet with the instant they end at, in that order.
        self._ahead: deque[tuple[float, Row]] = deque()
        self._ahead_until_us = -1
        self._ahead_bin_us = 0
        self._served_until_us = -1

    def restart(self, at_us: int) -> None:
        """Begin anew at `at_us`, where the taps changed: no conversion spans it.

        The circuit's own present must be that instant.
        """
        self._segment_start_us = at_us
        self._restart_ads(at_us)

    def rows(self, start_us: int, length_us: int, bin_us: int) -> list[Row]:
        """Return the rows that end in the slice, on-board bins of `bin_us`."""
        end_us = start_us + length_us
        if start_us != self._served_until_us:
            self._restart_ads(start_us)
        if bin_us != self._ahead_bin_us or end_us > self._ahead_until_us:
            self._take_back()
            slices = _SLICES_AHEAD if length_us == bin_us else 1
            self._work_out(start_us, slices * length_us, bin_us)
        served = []
        while self._ahead and self._ahead[0][0] <= end_us:
            served.append(self._ahead.popleft()[1])
        self._served_until_us = end_us
        return served

    def _restart_ads(self, at_us: int) -> None:
        self._ahead.clear()
        self._ahead_until_us = at_us
        self._ads_start_us = float(at_us)
        self._ads_slot = 0

    def _take_back(self) -> None:
        """Undo what was worked out and not handed out."""
        undelivered = sum(row[0] >> 2 == ADS1115 for _, row in self._ahead)
        self._ads_start_us -= undelivered * self._ads_us
        self._ads_slot = (self._ads_slot - undelivered) % len(self._order)
        self._ahead.clear()

    def _work_out(self, start_us: int, span_us: int, bin_us: int) -> None:
        end_us = start_us + span_us
        bins = -(-span_us // bin_us) if self._onboard else 0
        bin_start = start_us + bin_us * np.arange(bins)
        bin_length = np.minimum(bin_us, end_us - bin_start)
        ads_count = 0
        if self._ads:
            ads_count = max(0, math.floor((end_us - self._ads_start_us) / self._ads_us))
        ads_start = self._ads_start_us + self._ads_us * np.arange(ads_count, dtype=np.float64)
        starts = np.concatenate((bin_start.astype(np.float64), ads_start), dtype=np.float64)
        lengths = np.concatenate((bin_length, np.full(ads_count, self._ads_us)))
        taps = self._circuit.taps((starts - self._segment_start_us) * 1e-6, lengths * 1e-6)
        rows = self._onboard_rows(bin_start, bin_length, taps[:, :bins])
        rows += self._ads_rows(ads_start, taps[:, bins:])
        rows.sort(key=lambda item: item[0])
        self._ahead.extend(rows)
        self._ahead_until_us = end_us
        self._ahead_bin_us = bin_us

    def _onboard_rows(
        self, start_us: NDArray[np.int64], length_us: NDArray[np.int64], taps: NDArray[np.float64]
    ) -> list[tuple[float, Row]]:
        if self._onboard is None:
            return []
        n = np.maximum(1, (length_us / self._triple_us).astype(np.int64))
        totals = self._onboard.sum_codes(
            np.repeat(np.arange(CHANNEL_COUNT), len(n)),
            taps.reshape(-1),
            np.tile(n, CHANNEL_COUNT),
            self._circuit.range_high,
        )
        windows = list(zip(start_us.tolist(), length_us.tolist(), n.tolist(), strict=True))
        return [
            (start + length, (ONBOARD * 4 + channel, start, length, count, total))
            for channel, per_channel in enumerate(totals.reshape(CHANNEL_COUNT, -1).tolist())
            for (start, length, count), total in zip(windows, per_channel, strict=True)
        ]

    def _ads_rows(
        self, start_us: NDArray[np.float64], taps: NDArray[np.float64]
    ) -> list[tuple[float, Row]]:
        count = len(start_us)
        if self._ads is None or not count:
            return []
        channels = self._order[(self._ads_slot + np.arange(count)) % len(self._order)]
        # A difference is taken of the sense tap; its own codes come after.
        tapped = np.where(channels == NULL_DIFFERENCE, SENSE, channels)
        mean_v = taps[tapped, np.arange(count)]
        high = self._circuit.range_high
        totals = self._ads.sum_codes(tapped, mean_v, np.ones(count, np.int64), high)
        fine = channels == NULL_DIFFERENCE
        if fine.any():
            null_v = self.null.at(start_us[fine] + 0.5 * self._ads_us)
            sense_v = self._ads.pin_v(SENSE, mean_v[fine], high)
            totals[fine] = self._difference.codes(sense_v, null_v, self._circuit.mask != 0)
        self._ads_start_us += self._ads_us * count
        self._ads_slot = (self._ads_slot + count) % len(self._order)
        length_us = round(self._ads_us)
        return [
            (start + self._ads_us, (ADS1115 * 4 + channel, round(start), length_us, 1, total))
            for start, channel, total in zip(
                start_us.tolist(), channels.tolist(), totals.tolist(), strict=True
            )
        ]
