# SPDX-License-Identifier: MIT
"""Runs one step: a list of (load mask, duration) segments, a slice at a time.

`poll` does at most one slice and returns, so that input is looked at between
slices; start, poll and fetch are separate, and `abort` acts between two slices.
Whatever goes wrong in a slice, the loads are turned off first.
"""

from . import faults, profile, ticks
from .commands import ABORTED, ARM_ALONE, DONE, IDLE, MAX_SEGMENTS, RUNNING, TRIPPED
from .guard import Guard
from .sampler import CAPACITY, Sampler, expected_points, slice_plan
from .volts import Meter

# A live reading: long enough for one ADS1115 round over all three channels,
# eight conversions, at its slowest rate.
LIVE_US = 12000
# The hardware one-shot may outlast its segment by this, never more.
ONE_SHOT_MARGIN_US = 5000
# The guard counts time in pieces no longer than this.
WATCH_US = 5000
# How long an idle board may sleep between polls.
IDLE_US = 1000000


class Engine:
    """State machine of the step: IDLE, RUNNING, then DONE, ABORTED or TRIPPED."""

    def __init__(self, hw):
        self._hw = hw
        hw.switch(0, 0)
        self.guard = Guard(profile.LOADS, profile.RANGE_MV, hw.cold)
        if hw.hung:
            self.guard.trip(faults.TRIP_HUNG)
        self.sampler = Sampler()
        self._meter = Meter()
        self.high = 1
        hw.set_range(1)
        self.null_setting = 0
        self.set_null(0)
        self.state = IDLE
        self.segments = []
        self.edges_us = []
        self._segment = 0
        self._origin = hw.ticks_us()
        self._segment_end_us = 0
        # Time of the load mask's last and next change, None where there is none.
        self._last_edge_us = None
        # Up to when, from the start of the step, the guard has counted.
        self._watched_us = 0
        self._seen_tick = self._origin
        self._spare_us = 0
        self.live = []

    # -- planning ----------------------------------------------------------

    def set_range(self, high):
        self.high = high
        self._hw.set_range(high)

    def set_null(self, setting):
        self.null_setting = setting
        if self._hw.null:
            self._hw.set_null(setting)

    def clear_segments(self):
        self.segments = []
        self.edges_us = []
        self.sampler.begin(self._origin)
        self.state = IDLE

    def add_segment(self, mask, duration_ms):
        """Append a segment; return an error number or NO_ERROR."""
        unknown = mask >> len(profile.LOADS) and mask != ARM_ALONE
        if len(self.segments) >= MAX_SEGMENTS or unknown:
            return faults.OUT_OF_RANGE
        self.segments.append((mask, duration_ms))
        return faults.NO_ERROR

    def start(self):
        """Check the plan and begin; return an error number or NO_ERROR."""
        self._pass_time()
        if self.state == RUNNING:
            return faults.INIT_IGNORED
        self.read_live()
        if self.live_round(profile.ONBOARD) is None and self.live_round(profile.ADS1115) is None:
            return faults.HARDWARE
        reason = self.guard.refuse(self.segments, self.load_mv(), self.high)
        if reason == faults.NO_ERROR and expected_points(self.segments) > CAPACITY:
            reason = faults.REFUSED_RECORD
        if reason != faults.NO_ERROR:
            return reason
        self.guard.begin_step(self.segments, self.load_mv())
        self._origin = self._hw.ticks_us()
        self.sampler.begin(self._origin)
        self.edges_us = []
        self._last_edge_us = None
        # The first segment begins in the first poll, where every way out is guarded.
        self._segment = -1
        self._segment_end_us = 0
        self._watched_us = 0
        self.state = RUNNING
        return faults.NO_ERROR

    # -- running -----------------------------------------------------------

    def poll(self):
        """Do at most one slice; return how long (us) the caller may sleep."""
        self._pass_time()
        if self.state != RUNNING:
            return IDLE_US
        safe = False
        try:
            self._run_slice()
            safe = True
        except Exception:
            self.guard.trip(faults.TRIP_CAPTURE)
        finally:
            # Also when Ctrl-C or a reset passes through here.
            if not safe:
                self._hw.switch(0, 0)
                self.state = TRIPPED
        return 0

    def abort(self):
        """Turn every load off and end a running step."""
        self._hw.switch(0, 0)
        if self.state == RUNNING:
            self._account()
            self._end(ABORTED)

    def reset(self):
        """Loads off, nothing planned, nothing recorded, the range that bears most, null at 0."""
        self.abort()
        self.clear_segments()
        self.set_range(1)
        self.set_null(0)

    def elapsed_us(self):
        return ticks.diff(self._hw.ticks_us(), self._origin) if self.state == RUNNING else 0

    def segment(self):
        return max(0, self._segment)

    def _run_slice(self):
        elapsed_us = self.elapsed_us()
        if elapsed_us >= self._segment_end_us:
            self._account()
            if not self._tripped():
                self._next_segment()
            return
        mask = self.segments[self._segment][0]
        since = None if self._last_edge_us is None else elapsed_us - self._last_edge_us
        until = self._next_edge_us()
        left_us = self._segment_end_us - elapsed_us
        slice_us, bin_us, group_us = slice_plan(
            since, None if until is None else until - elapsed_us, mask
        )
        if slice_us > left_us:
            slice_us = left_us
            bin_us = min(bin_us, slice_us)
        row_count = self._hw.capture(slice_us, bin_us)
        self.sampler.add(self._hw.rows, row_count, group_us)
        self._remember(row_count)
        if self.sampler.full:
            self.guard.trip(faults.TRIP_RECORD)
        self._account()
        self._tripped()

    def _account(self):
        """Let the guard count the time since it last did, at what the load has across it now.

        The time is the clock's, not the plan's: what the loop itself takes heats a load too.
        """
        now_us = self.elapsed_us()
        mask = self.segments[self._segment][0] if self._segment >= 0 else 0
        while mask and self._watched_us < now_us:
            # In pieces: power times a long time would outgrow a small integer.
            piece_us = min(WATCH_US, now_us - self._watched_us)
            self.guard.watch(mask, piece_us, self.load_mv(), self.high)
            self._watched_us += piece_us
        self._watched_us = now_us

    def _tripped(self):
        """End the step where the guard has tripped; return whether it has."""
        if self.guard.reason == faults.NO_ERROR:
            return False
        self._hw.switch(0, 0)
        self._end(TRIPPED)
        return True

    def _next_edge_us(self):
        """Return when the mask changes next (us from the start), None if it never does."""
        at_us = self._segment_end_us
        mask = self.segments[self._segment][0]
        for following, duration_ms in self.segments[self._segment + 1 :]:
            if following != mask:
                return at_us
            at_us += duration_ms * 1000
        return None

    def _next_segment(self):
        following = self._segment + 1
        if following >= len(self.segments):
            self._hw.switch(0, 0)
            self._end(DONE)
            return
        before = self.segments[self._segment][0] if self._segment >= 0 else 0
        if self.segments[following][0] != before:
            self.sampler.flush()
            self._switch(following)
        self._segment = following
        self._segment_end_us += self.segments[following][1] * 1000

    def _switch(self, segment):
        """Set the mask of `segment`, for as long as the following ones keep it."""
        mask, longest_ms = self.segments[segment]
        for following, duration_ms in self.segments[segment + 1 :]:
            if following != mask:
                break
            longest_ms += duration_ms
        self._hw.switch(mask, longest_ms * 1000 + ONE_SHOT_MARGIN_US)
        self._last_edge_us = ticks.diff(self._hw.ticks_us(), self._origin)
        self.edges_us.append(self._last_edge_us)

    def _end(self, state):
        self.sampler.flush()
        self.state = state

    def _pass_time(self):
        """Let the loads cool for the time since the last call."""
        now = self._hw.ticks_us()
        passed_us = ticks.diff(now, self._seen_tick) + self._spare_us
        self._seen_tick = now
        self._spare_us = passed_us % 1000
        self.guard.cool(passed_us // 1000)

    # -- live reading ------------------------------------------------------

    def read_live(self):
        """Take one reading unless a step is running; then the step's last one serves.

        Empty where the converters do not answer.
        """
        if self.state != RUNNING:
            self.live = []
            try:
                self._remember(self._hw.capture(LIVE_US, LIVE_US))
            except Exception:
                self.live = []
        return self.live

    def _remember(self, row_count):
        """Keep the newest row of each source as (source, n, total)."""
        rows = self._hw.rows
        for offset in range(0, row_count * 5, 5):
            entry = (rows[offset], rows[offset + 3], rows[offset + 4])
            for index, old in enumerate(self.live):
                if old[0] == entry[0]:
                    self.live[index] = entry
                    break
            else:
                self.live.append(entry)

    def live_round(self, converter):
        """Return [(source, n, total)] of sense, force and return, None where one is unread."""
        entries = []
        for channel in range(3):
            for entry in self.live:
                if entry[0] == converter * 4 + channel:
                    entries.append(entry)
        return entries if len(entries) == 3 else None

    def load_mv(self):
        """Return what a load has across it now, in mV: the higher of sense and force.

        Sense alone could be off, or on another cell than force.
        """
        return max(0, self.live_mv(0), self.live_mv(1))

    def live_mv(self, channel):
        """Return the tap's voltage in mV now, 0 where unread.

        The on-board converter goes first: it is read in every slice, while the
        ADS1115's newest conversion may be several slices old.
        """
        for converter in (profile.ONBOARD, profile.ADS1115):
            for source, n, total in self.live:
                if source == converter * 4 + channel:
                    return self._meter.tap_mv(source, n, total, self.high)
        return 0
