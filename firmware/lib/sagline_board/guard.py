# SPDX-License-Identifier: MIT
"""The guard: what a load may bear, checked before a step and at every slice of it.

Whole milliwatts, milliseconds and microjoules; no product passes 2**30, so
nothing here allocates a long integer on a 32-bit board. A trip is latched with
its reason until it is cleared.
"""

from . import faults, profile
from .commands import ARM_ALONE, ARM_ALONE_MS

# Reckoned heat of a load rises by V^2/R while it is on and falls by its mean
# rating; a pulse may start while heat plus pulse stays within `max_pulse_mj`.
_UJ_PER_MJ = 1000

# A slice may overrun its segment by this before the guard calls it too long.
_ON_SLACK_US = 20000


def loads_in(mask, count):
    """Return the indices of the loads in `mask`."""
    return [index for index in range(count) if mask & (1 << index)]


def power_mw(volt_mv, load_milliohm):
    """Return the power in mW that `volt_mv` makes in `load_milliohm` (leads left out)."""
    return volt_mv * volt_mv // load_milliohm


def _armed_ms(segments):
    """Return how long ARM alone is closed in these segments."""
    return sum([duration_ms for mask, duration_ms in segments if mask == ARM_ALONE])


def _armed_uj(load, open_mv, armed_ms):
    """Return what ARM alone may put into one load, 0 where it is not closed at all."""
    return (
        power_mw(open_mv, load["load_milliohm"]) * (armed_ms + profile.ARM_HOLD_MS)
        if armed_ms
        else 0
    )


class Guard:
    """Limits of the bank and of the path to it, heat of each load, and the latched trip."""

    def __init__(self, loads, range_mv, cold):
        self._loads = loads
        # A converter at its end says nothing of what lies beyond it. The slack is less
        # than what is left there, and more than the error of these millivolts.
        self._range_mv = [limit_mv + limit_mv // 50 for limit_mv in range_mv]
        # After a reset nobody knows what went before: every load counts as
        # having just taken its largest pulse.
        self._heat_uj = [0 if cold else load["max_pulse_mj"] * _UJ_PER_MJ for load in loads]
        self._on_us = [0] * len(loads)
        self._pulse_uj = [0] * len(loads)
        self.reason = faults.NO_ERROR

    def trip(self, reason):
        """Latch `reason`; the first one stays."""
        if self.reason == faults.NO_ERROR:
            self.reason = reason

    def clear(self):
        self.reason = faults.NO_ERROR

    def cool(self, elapsed_ms):
        """Let every load lose its mean rating for `elapsed_ms`."""
        for index, load in enumerate(self._loads):
            heat = self._heat_uj[index]
            if heat:
                # mW times ms is uJ. The bound keeps a long idle time small.
                lost_ms = min(elapsed_ms, heat // load["mean_mw"] + 1)
                self._heat_uj[index] = max(0, heat - lost_ms * load["mean_mw"])

    def ready_ms(self):
        """Return the time until every load is cool."""
        longest = 0
        for heat, load in zip(self._heat_uj, self._loads):
            longest = max(longest, -(-heat // load["mean_mw"]))
        return longest

    def refuse(self, segments, open_mv, high):
        """Return the error number that forbids these (mask, ms) segments, or NO_ERROR.

        `open_mv` is the cell's voltage now, read on the range `high`; each load
        is reckoned at that voltage, as if leads and cell had no resistance.
        """
        if self.reason != faults.NO_ERROR:
            return faults.REFUSED_TRIPPED
        if not segments:
            return faults.REFUSED_EMPTY
        # Beyond its range a converter clips: the cell may be at any voltage.
        if open_mv > self._range_mv[high]:
            return faults.REFUSED_VOLTAGE
        armed_ms = _armed_ms(segments)
        if armed_ms > ARM_ALONE_MS:
            return faults.REFUSED_ON_TIME
        for index, load in enumerate(self._loads):
            spent_uj = _armed_uj(load, open_mv, armed_ms)
            if self._heat_uj[index] + spent_uj > load["max_pulse_mj"] * _UJ_PER_MJ:
                return faults.REFUSED_HOT
        for mask, _ in segments:
            if self._sum_ma(mask, open_mv) > profile.LEADS["force_max_ma"]:
                return faults.REFUSED_CURRENT
        for index, load in enumerate(self._loads):
            on_ms = self._on_ms(segments, index)
            if on_ms:
                reason = self._refuse_load(index, load, on_ms, open_mv)
                if reason != faults.NO_ERROR:
                    return reason
        return faults.NO_ERROR

    def _on_ms(self, segments, index):
        total = 0
        for mask, duration_ms in segments:
            if mask & (1 << index):
                total += duration_ms
        return total

    def _sum_ma(self, mask, volt_mv):
        """Return what the loads of `mask` draw together: all of it passes the force path."""
        total_ma = 0
        for index in loads_in(mask, len(self._loads)):
            total_ma += volt_mv * 1000 // self._loads[index]["load_milliohm"]
        return total_ma

    def _refuse_load(self, index, load, on_ms, open_mv):
        if on_ms > load["max_on_ms"]:
            return faults.REFUSED_ON_TIME
        if open_mv > load["max_mv"]:
            return faults.REFUSED_VOLTAGE
        if open_mv * 1000 // load["load_milliohm"] > load["max_ma"]:
            return faults.REFUSED_CURRENT
        pulse_uj = power_mw(open_mv, load["load_milliohm"]) * on_ms
        limit_uj = load["max_pulse_mj"] * _UJ_PER_MJ
        if pulse_uj > limit_uj:
            return faults.REFUSED_ENERGY
        if self._heat_uj[index] + pulse_uj > limit_uj:
            return faults.REFUSED_HOT
        return faults.NO_ERROR

    def begin_step(self, segments, open_mv):
        """Forget the pulse of the last step (its heat stays).

        ARM alone may heat any load, should one be stuck on: it is taken to heat them all.
        """
        armed_ms = _armed_ms(segments)
        for index, load in enumerate(self._loads):
            self._heat_uj[index] += _armed_uj(load, open_mv, armed_ms)
        self._on_us = [0] * len(self._loads)
        self._pulse_uj = [0] * len(self._loads)

    def watch(self, mask, slice_us, sense_mv, high):
        """Account for a slice with `mask` on at `sense_mv`; trip where a limit is passed."""
        if self._sum_ma(mask, sense_mv) > profile.LEADS["force_max_ma"]:
            self.trip(faults.TRIP_OVER_CURRENT)
        for index in loads_in(mask, len(self._loads)):
            load = self._loads[index]
            spent_uj = power_mw(sense_mv, load["load_milliohm"]) * slice_us // 1000
            self._heat_uj[index] += spent_uj
            self._pulse_uj[index] += spent_uj
            self._on_us[index] += slice_us
            if sense_mv > load["max_mv"] or sense_mv > self._range_mv[high]:
                self.trip(faults.TRIP_OVER_VOLTAGE)
            elif sense_mv * 1000 // load["load_milliohm"] > load["max_ma"]:
                self.trip(faults.TRIP_OVER_CURRENT)
            elif self._on_us[index] > load["max_on_ms"] * 1000 + _ON_SLACK_US:
                self.trip(faults.TRIP_ON_TIME)
            elif self._pulse_uj[index] > load["max_pulse_mj"] * _UJ_PER_MJ:
                self.trip(faults.TRIP_ENERGY)
