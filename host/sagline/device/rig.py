# SPDX-License-Identifier: MIT
"""What a rig can do, as verbs in SI units over a Link."""

from collections.abc import Generator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from numpy.typing import NDArray

from sagline.analysis.calibration import tap_volts
from sagline.analysis.values import Notice, RawStep
from sagline.device.introduction import identity_of, profile_of, thermistor_of
from sagline.device.link import Link
from sagline.device.record import fetch_points
from sagline.device.replay import SCHEME as REPLAY
from sagline.device.rigcalibration import RigCalibration
from sagline.errors import (
    NEW_FIRMWARE,
    REPLUG,
    BoardRefused,
    Refused,
    SaglineError,
    UsageError,
    WrongDevice,
)
from sagline_board import __version__, commands, faults

if TYPE_CHECKING:
    from sagline.calibrations import Calibration
    from sagline.results import Result
    from sagline.virtual.hands import Hands

# A step has failed when it takes this many times its planned time, and this long on top:
# far beyond what a board's slices add.
LATE, LATE_S = 1.5, 10.0


@dataclass(frozen=True)
class LiveReading:
    """One reading of the taps, in volts, with nominal values."""

    sense_v: float
    force_v: float
    return_v: float


@dataclass(frozen=True)
class StepState:
    """How far a running step has come."""

    segment: int
    elapsed_s: float
    points: int
    sense_v: float


class Rig:
    """A connected rig. Use as a context manager: leaving it turns every load off."""

    watch_s = 0.1
    """How often a running step is asked how it fares."""

    def __init__(self, link: Link, address: str) -> None:
        self._link = link
        self.address = address
        self.identity = identity_of(link)
        self.profile = profile_of(link, self.identity)
        self.thermistor = thermistor_of(link, self.identity)
        self.high_range = True
        self.null_setting: int | None = None
        self._calibration = RigCalibration(link, self.identity.serial, address)

    @classmethod
    def open(
        cls, address: str, trace: str | None = None, calibration: "Calibration | None" = None
    ) -> Self:
        """Open the rig at `address`, as `open_rig` does."""
        link = Link.open(address, trace)
        try:
            rig = cls(link, address)
            if calibration is None:
                rig.read_calibration()
            else:
                rig.calibration = calibration
            return rig
        except BaseException:
            link.close()
            raise

    @property
    def calibration(self) -> "Calibration | None":
        """What makes good this rig's tolerances; None leaves them.

        It is what the board keeps, unless another is set, which the board does not learn of.
        Setting that of another rig raises UsageError.
        """
        return self._calibration.used

    @calibration.setter
    def calibration(self, calibration: "Calibration | None") -> None:
        self._calibration.use(calibration)

    @property
    def kept_calibration(self) -> "Calibration | None":
        """What the board keeps, as it was last read or written."""
        return self._calibration.kept

    def read_calibration(self) -> None:
        """Read the board's calibration, and take it for this rig's.

        One that is damaged or not there is a notice. Raises LinkLost, WrongDevice.
        """
        self._calibration.read()

    def keep_calibration(self, calibration: "Calibration") -> None:
        """Let the board keep `calibration`, and this rig use it from now on.

        It goes into this computer's history too, as does what the board kept before. Raises
        UsageError for that of another rig, Refused where the board cannot keep it, NotStored
        where the board keeps it and this computer could not; LinkLost, WrongDevice.
        """
        self._calibration.keep(calibration)

    def clear_calibration(self) -> None:
        """Let the board keep no calibration, and this rig use none.

        What it kept goes into this computer's history first. Raises NotStored, with nothing
        cleared, where it cannot; Refused where the board cannot; LinkLost, WrongDevice.
        """
        self._calibration.clear()

    def hands(self) -> "Hands":
        """Return the hands beside a rig that is simulated in this program.

        Raises UsageError for any other rig.
        """
        from sagline.virtual.hands import Hands
        from sagline.virtual.port import VirtualPort

        port = self._link.port
        if not isinstance(port, VirtualPort):
            raise UsageError(
                "no_hands_here",
                "Only a rig that is simulated in this program has hands.",
                "Do it by hand, or with `sagline hands` at a served one.",
            )
        return Hands(port)

    def __enter__(self) -> "Rig":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def is_virtual(self) -> bool:
        """Whether this rig is simulated, wherever its board runs."""
        return self.identity.model.startswith("virtual")

    @property
    def is_replay(self) -> bool:
        """Whether this is a recording played again: nothing is measured."""
        return self.address.startswith(REPLAY)

    @property
    def notices(self) -> tuple[Notice, ...]:
        """What must be said with every figure of this rig."""
        if self.identity.firmware == __version__:
            return (*self._link.notices, *self._calibration.notices)
        return (
            *self._link.notices,
            *self._calibration.notices,
            Notice(
                "firmware_version",
                f"the board's firmware is {self.identity.firmware}, this program {__version__}",
                f"they speak the same protocol; to have them alike, {NEW_FIRMWARE}",
            ),
        )

    @property
    def converter(self) -> int:
        """The converter whose figures are reported: the ADS1115 where it is fitted."""
        return max(self.profile.converters)

    @property
    def has_null(self) -> bool:
        """Whether the null channel is fitted."""
        return self.profile.null is not None

    def now_s(self) -> float:
        """Return the seconds on the rig's clock."""
        return self._link.clock.now_s()

    def wait(self, seconds: float) -> None:
        """Let `seconds` pass on the rig's clock."""
        self._link.wait(seconds)

    def live(self) -> LiveReading:
        """Read the taps once. Raises BoardRefused, LinkLost."""
        counts = self._link.fields("counts")
        if min(counts["sense_n"], counts["force_n"], counts["return_n"]) < 1:
            raise WrongDevice(
                "bad_reply",
                "The board's live reading has no conversions.",
                f"{REPLUG}, then measure again. If it stays so, {NEW_FIRMWARE}",
            )
        volts = [
            tap_volts(
                self.profile,
                counts["converter"],
                channel,
                counts[f"{name}_total"] / counts[f"{name}_n"],
                bool(counts["high"]),
            )
            for channel, name in enumerate(("sense", "force", "return"))
        ]
        return LiveReading(*volts)

    def set_range(self, high: bool) -> None:
        """Choose the 16.5 V range or the low one for what follows."""
        self._link.request("set_range", int(high))
        self.high_range = high

    def set_null(self, setting: int | None) -> None:
        """Hold the null channel at `setting` in what follows; None takes it out of use."""
        if setting is not None:
            self._link.request("set_null", setting)
        self.null_setting = setting

    def null_difference_v(self) -> float | None:
        """Return sense less null at the pin (V) by one reading.

        None beyond the end of its range, where the channel is not fitted, not in use or does
        not answer, and where it is at another setting than ours.
        """
        null = self.profile.null
        if null is None or self.null_setting is None:
            return None
        try:
            counts = self._link.fields("null_counts")
        except BoardRefused as refusal:
            if refusal.number != faults.HARDWARE:
                raise
            return None
        if counts["n"] < 1 or counts["setting"] != self.null_setting:
            return None
        code = counts["total"] / counts["n"]
        return code * null.lsb_v if abs(code) < null.full_code else None

    def thermistor_codes(self) -> tuple[int, int]:
        """Read the thermistor at rest: its code, and that of the supply over it and its resistor.

        Raises BoardRefused where it does not answer or a step runs.
        """
        counts = self._link.fields("thermistor_codes")
        return counts["bead"], counts["supply"]

    def step(
        self, load_index: int, segments: Sequence[tuple[int, int]]
    ) -> Generator[StepState, None, RawStep]:
        """Run one step of (mask, ms) segments; yield its state, return its record.

        Closing the generator, or anything raised in it, turns the load off.
        Raises BoardRefused where the guard says no or trips, Refused where
        someone else ends the step, LinkLost, WrongDevice where it does not end.
        """
        planned_s = sum(duration_ms for _, duration_ms in segments) * 1e-3
        # A reset, or whoever was here meanwhile, may have chosen another range or null.
        self._link.request("set_range", int(self.high_range))
        self.set_null(self.null_setting)
        self._link.request("clear_segments")
        for mask, duration_ms in segments:
            self._link.request("add_segment", mask, duration_ms)
        overdue_s = self.now_s() + LATE * planned_s + LATE_S
        try:
            session = self._link.sessions
            self._link.request("start")
            while (state := self._running()) is not None:
                if self.now_s() > overdue_s:
                    raise WrongDevice(
                        "step_overdue",
                        f"A step of {planned_s:g} s has not ended {LATE_S:g} s after its time.",
                        f"{REPLUG}; if it stays so, {NEW_FIRMWARE}",
                    )
                yield state
                self._link.wait(self.watch_s)
        except BaseException:
            # A load may be on, also where the answer to the start was lost. What went wrong
            # first is what there is to know.
            with suppress(SaglineError):
                self.abort()
            raise
        raw = self._fetch(load_index, tuple(segments))
        if session != self._link.sessions or not self._is_ours(raw):
            raise _ended_by_others()
        return raw

    def _is_ours(self, raw: RawStep) -> bool:
        """Whether the board's record is of the step that was asked for, in the range chosen."""
        masks = (0, *(mask for mask, _ in raw.segments))
        changes = sum(mask != before for before, mask in pairwise(masks))
        high = bool(self._link.fields("counts")["high"])
        return len(raw.edges_us) == changes and high == self.high_range

    def abort(self) -> None:
        """Turn every load off now; a running step ends."""
        self._link.request("abort")

    def clear_trip(self) -> None:
        """Clear the guard's latched trip, for whoever has seen to its cause."""
        self._link.request("guard_clear")

    def trip_reason(self) -> int:
        """Return the number of the guard's latched trip, 0 where there is none."""
        return self._link.fields("guard_state")["reason"]

    def ready_in_s(self) -> float:
        """Return how long until every load is cool."""
        return self._link.fields("guard_state")["ready_ms"] * 1e-3

    def close(self) -> None:
        """Turn every load off, end the session, close the port.

        A board that has gone is no error here: it turns its loads off by itself.
        """
        try:
            with suppress(SaglineError):
                self.abort()
        finally:
            self._link.close()

    def measure(self, *, log: str | Path | None = None, **settings: Any) -> "Result":
        """Measure the cell and return its Result.

        Settings are the fields of `sagline.device.settings.Settings`: load_ohm,
        designation, repeats, times_s, label, operator, temperature_c, clear_trip, line. What a
        real rig measures is kept in the log; `log` names another file, and a simulated rig is
        kept there alone. A result that could not be kept says so in its warnings. Raises
        UsageError, Refused, LinkLost.
        """
        from sagline.device.procedure import measure, run
        from sagline.device.settings import Settings
        from sagline.log.choice import log_for
        from sagline.log.keeper import Keeper

        path = None if log is None and self.is_virtual else log_for(self, _path(log))
        if path is None:
            return measure(self, Settings(**settings))
        return Keeper(path).measure(run(self, Settings(**settings)))

    def _running(self) -> StepState | None:
        """Return the state of the running step, None once it is done."""
        state = self._link.fields("state")
        if state["state"] == commands.DONE:
            return None
        if state["state"] == commands.TRIPPED:
            reason = state["reason"]
            raise BoardRefused(reason, faults.TEXTS.get(reason, "the guard ended the step"))
        if state["state"] != commands.RUNNING:
            raise _ended_by_others()
        return StepState(
            state["segment"], state["elapsed_ms"] * 1e-3, state["points"], self.live().sense_v
        )

    def _fetch(self, load_index: int, segments: tuple[tuple[int, int], ...]) -> RawStep:
        points = self._points()
        edges = self._link.integers("edges")
        return RawStep(
            **dict(zip(commands.POINT_FIELDS, points.T, strict=True)),
            edges_us=tuple(edge for edge in edges if edge >= 0),
            load=load_index,
            range_high=self.high_range,
            segments=segments,
            null_setting=self.null_setting,
        )

    def _points(self) -> NDArray[np.int64]:
        return fetch_points(self._link)


def _ended_by_others() -> Refused:
    return Refused(
        "step_ended",
        "The step was ended before its time or changed, by someone else or by a reset.",
        "Check the board's supply and that nobody else uses it, then measure again.",
    )


def _path(log: str | Path | None) -> Path | None:
    return None if log is None else Path(log)


def open_rig(
    address: str, trace: str | None = None, calibration: "Calibration | None" = None
) -> Rig:
    """Open the rig at `address`, e.g. "virtual://lr6?seed=7" or "/dev/ttyACM0".

    That is what `sagline.open_rig` does after `rigs.resolve` has found the address.

    `trace` names a file in which every byte is kept; "replay://FILE" plays it. `calibration`
    is this rig's; without it the board's own is read. Raises UsageError, LinkLost, WrongDevice.
    """
    return Rig.open(address, trace, calibration)
