# SPDX-License-Identifier: MIT
"""The commands that keep the rig's calibration on the board.

The document is the host's affair: here it is bytes, which cross the wire in numbered chunks as
base64 (RFC 4648). No file is touched while a step runs: writing flash holds up everything.
"""

import binascii

from . import faults
from .commands import KEPT_CHUNK, RUNNING
from .keep import Keep


class CalibrationCommands:
    """A part of Board."""

    def __init__(self, hw, engine):
        self._hw = hw
        self.engine = engine
        self._keep = Keep(hw.files)

    def _do_calibration_identity(self):
        keep = self._keep
        return '%d,%d,%d,"%08X","%s"' % (keep.slot, keep.damaged, keep.length, keep.crc, keep.name)

    def _do_read_calibration(self, chunk):
        if self.engine.state == RUNNING:
            return faults.INIT_IGNORED
        first = chunk * KEPT_CHUNK
        if not self._keep.slot or first >= self._keep.length:
            return faults.DATA_STALE
        try:
            data = self._keep.read(first, KEPT_CHUNK)
        except OSError:
            return faults.MASS_STORAGE
        return '%d,%d,"%s"' % (chunk, len(data), _base64(data))

    def _do_begin_calibration(self, length, name):
        if self.engine.state == RUNNING:
            return faults.INIT_IGNORED
        try:
            self._keep.begin(length, name)
        except MemoryError:
            return faults.MASS_STORAGE

    def _do_write_calibration(self, chunk, text):
        if self.engine.state == RUNNING:
            return faults.INIT_IGNORED
        try:
            data = binascii.a2b_base64(text)
        except ValueError:
            return faults.DATA_TYPE
        # What is no base64 may be left out without a word there.
        if _base64(data) != text:
            return faults.DATA_TYPE
        if not self._keep.put(chunk * KEPT_CHUNK, data):
            return faults.DATA_STALE

    def _do_commit_calibration(self, text):
        try:
            crc = int(text, 16)
        except ValueError:
            return faults.DATA_TYPE
        return self._change(lambda: self._keep.commit(crc))

    def _do_clear_calibration(self):
        return self._change(self._keep.clear)

    def _change(self, act):
        """Do what writes files, with every load off; return an error number or None."""
        if self.engine.state == RUNNING:
            return faults.INIT_IGNORED
        self._hw.switch(0, 0)
        try:
            return faults.DATA_STALE if act() is False else None
        except OSError:
            return faults.MASS_STORAGE


def _base64(data):
    return binascii.b2a_base64(data).decode().strip()
