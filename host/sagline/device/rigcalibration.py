# SPDX-License-Identifier: MIT
"""One rig's calibration: what its board keeps, what is in use, what to say of it."""

from typing import TYPE_CHECKING

from sagline import calibrationstore
from sagline.analysis.values import Notice
from sagline.device import kept
from sagline.device.keptnotices import damaged, lost, unreadable
from sagline.device.link import Link
from sagline.errors import NotStored, UsageError

if TYPE_CHECKING:
    from sagline.calibrations import Calibration


class RigCalibration:
    """The calibration of the rig `serial` at `address`, whose board is at the end of `link`.

    used: what figures are computed with, None for none.
    kept: what the board keeps, as it was last read or written.
    notices: what must be said with figures.
    """

    def __init__(self, link: Link, serial: str, address: str) -> None:
        self._link = link
        self._serial = serial
        self._address = address
        self._was_read = False
        self.used: Calibration | None = None
        self.kept: Calibration | None = None
        self.notices: tuple[Notice, ...] = ()

    def use(self, calibration: "Calibration | None") -> None:
        """Use this one, whatever the board keeps. Raises UsageError for that of another rig."""
        if calibration is not None:
            calibration.require_rig(self._serial)
        self.used = calibration
        self.notices = ()

    def read(self) -> None:
        """Read what the board keeps, and use it; one that is damaged or not there is a notice."""
        found = None
        said: list[Notice] = []
        identity = kept.read_identity(self._link)
        if identity is not None and identity.slot:
            try:
                found = kept.read_calibration(self._link, identity)
                found.require_rig(self._serial)
            except (kept.Unreadable, UsageError) as error:
                found = None
                said.append(unreadable(identity.id, str(error)))
        if identity is not None and identity.damaged:
            said.append(damaged(found))
        if found is None and not said and (missed := calibrationstore.missed(self._serial)):
            said.append(lost(missed, self._address))
        self._was_read = True
        self.used = self.kept = found
        self.notices = tuple(said)

    def keep(self, calibration: "Calibration") -> None:
        """Let the board keep it, and use it; `Rig.keep_calibration` says more."""
        calibration.require_rig(self._serial)
        kept.encoded(calibration)  # raises where it is too long, before anything is written
        before = self._kept_before()
        failures = [_remembered(before), _remembered(calibration)]
        kept.write_calibration(self._link, calibration)
        self.kept = calibration
        self.use(calibration)
        for failure in failures:
            if failure is not None:
                raise failure

    def clear(self) -> None:
        """Let the board keep none, and use none; `Rig.clear_calibration` says more."""
        before = self._kept_before()
        if (failure := _remembered(before)) is not None:
            raise failure
        kept.clear_calibration(self._link)
        calibrationstore.mark_cleared(self._serial)
        self.kept = None
        self.use(None)

    def _kept_before(self) -> "Calibration | None":
        """Return what the board keeps. Raises Refused where its firmware keeps nothing."""
        if kept.read_identity(self._link) is None:
            raise kept.no_keeping()
        if not self._was_read:
            used = self.used
            self.read()
            self.use(used)
        return self.kept


def _remembered(calibration: "Calibration | None") -> NotStored | None:
    """Put it into this computer's history; return what was in the way."""
    try:
        if calibration is not None:
            calibrationstore.keep(calibration)
    except NotStored as error:
        return error
    return None
