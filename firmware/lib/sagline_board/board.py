# SPDX-License-Identifier: MIT
"""The board's side of the protocol: lines in, replies out, the engine between.

Sans-I/O: `receive` takes bytes, `take_output` gives bytes, `poll` lets a
running step go on. Nothing here knows a port.
"""

from . import __version__, commands, faults, profile, ticks, wire
from .calibration import CalibrationCommands
from .commands import ALWAYS, ANY, CHUNK_POINTS, RUNNING, SESSION_MS
from .engine import Engine


class Board(CalibrationCommands):
    """One rig: session, registers, error queue and engine over a Hardware."""

    def __init__(self, hw):
        CalibrationCommands.__init__(self, hw, Engine(hw))
        self.errors = faults.ErrorQueue()
        self._events = faults.EVENT_POWER_ON
        self._reader = wire.LineReader()
        self._output = []
        self._session = None
        self._heard_tick = hw.ticks_us()
        # Sequence, request and reply of the last envelope: a retry is answered
        # from here and never executed twice.
        self._last_seq = -1
        self._last_request = b""
        self._last_reply = b""

    @property
    def held(self):
        """Whether a session is open."""
        return self._session is not None

    def receive(self, data):
        """Take bytes from the port and act on every line they complete."""
        for line in self._reader.feed(data):
            if line is wire.OVERRUN:
                self._report(faults.INPUT_OVERRUN)
                continue
            if wire.is_sealed(line):
                self._sealed(line)
            else:
                self._plain(line)
            # Whatever stood before it: the rest of a line that was never finished, or damage.
            if wire.ends_safely(line):
                self.engine.abort()

    def take_output(self):
        """Return the bytes to send, and forget them."""
        data = b"".join(self._output)
        self._output = []
        return data

    def poll(self):
        """Go on with a running step; return how long (us) the caller may sleep."""
        if self._session is not None:
            if ticks.diff(self._hw.ticks_us(), self._heard_tick) > SESSION_MS * 1000:
                self._session = None
        return self.engine.poll()

    # -- envelopes ---------------------------------------------------------

    def _sealed(self, line):
        opened = wire.unseal(line)
        if opened is None:
            return
        session, seq, message = opened
        if session == self._session:
            self._heard_tick = self._hw.ticks_us()
            if seq == self._last_seq and line == self._last_request:
                self._output.append(self._last_reply)
                return
            if seq == self._last_seq:
                self._answer(session, seq, line, self._error(faults.SYNTAX))
                return
        header, text = _split_header(message)
        command = commands.find(header)
        if command is not None and command.name == "open_session":
            reply = self._open(session, command, text)
        elif session != self._session and not (command and command.access == ALWAYS):
            reply = self._error(faults.REFUSED_SESSION)
        else:
            reply = self._execute(command, text)
            if reply is None:
                reply = "OK"
            elif isinstance(reply, int):
                reply = self._error(reply)
        self._answer(session, seq, line, reply)

    def _open(self, session, command, text):
        values = self._arguments(command, text)
        if isinstance(values, int):
            return self._error(values)
        if values[0] == commands.PROTOCOL_MAJOR:
            self._session = session
            self._heard_tick = self._hw.ticks_us()
        return "%d,%d" % (commands.PROTOCOL_MAJOR, commands.PROTOCOL_MINOR)

    def _answer(self, session, seq, request, reply):
        sealed = wire.seal(session, seq, reply) + b"\n"
        self._output.append(sealed)
        if session == self._session:
            self._last_seq = seq
            self._last_request = bytes(request)
            self._last_reply = sealed

    def _error(self, number):
        self._events |= faults.event_bit(number)
        return wire.error_text(number, faults.TEXTS[number])

    # -- plain lines -------------------------------------------------------

    def _plain(self, line):
        if not wire.is_text(bytes(line).replace(b"\t", b" ")):
            self._report(faults.SYNTAX)
            return
        replies = []
        path = ""
        units = wire.split_outside_quotes(line.decode().replace("\t", " "), ";")
        for index, unit in enumerate(units):
            header, text = _split_header(unit)
            if not header:
                continue
            if header[0] == ":":
                header = header[1:]
            elif header[0] != "*":
                header = path + header
            command = commands.find(header)
            if header[:1] != "*":
                path = header[: header.rfind(":") + 1]
            reply = self._plain_unit(command, text)
            if isinstance(reply, int):
                self._report(reply)
                self._make_safe(units[index:])
                break
            if reply is not None:
                replies.append(reply)
        if replies:
            self._output.append((";".join(replies) + "\n").encode())

    def _make_safe(self, units):
        """Obey what makes the rig safe, also in and behind a unit that could not be done."""
        for unit in units:
            command = commands.find(_split_header(unit)[0].lstrip(":"))
            if command is not None and command.access == ALWAYS:
                getattr(self, "_do_" + command.name)()

    def _plain_unit(self, command, text):
        if command is None:
            return faults.UNDEFINED_HEADER
        if command.name in ("open_session", "close_session"):
            return faults.SETTINGS_CONFLICT
        if self._session is not None and command.access not in (ANY, ALWAYS):
            return faults.SETTINGS_CONFLICT
        return self._execute(command, text)

    def _report(self, number):
        self.errors.push(number)
        self._events |= faults.event_bit(number)

    # -- commands ----------------------------------------------------------

    def _execute(self, command, text):
        """Return the reply (str), None for OK, or an error number (int)."""
        if command is None:
            return faults.UNDEFINED_HEADER
        values = self._arguments(command, text)
        if isinstance(values, int):
            return values
        return getattr(self, "_do_" + command.name)(*values)

    def _arguments(self, command, text):
        """Return what `text` holds, integers and texts, as the command wants it, or an error."""
        parts = wire.split_outside_quotes(text, ",") if '"' in text else text.split(",")
        parts = [part.strip() for part in parts] if text else []
        if len(parts) < len(command.args):
            return faults.MISSING_PARAMETER
        if len(parts) > len(command.args):
            return faults.PARAMETER_NOT_ALLOWED
        values = []
        for part, (name, lowest, highest) in zip(parts, command.args):
            if name[0] == '"':
                if len(part) < 2 or part[0] != '"' or part[-1] != '"' or '"' in part[1:-1]:
                    return faults.DATA_TYPE
                if not lowest <= len(part) - 2 <= highest:
                    return faults.OUT_OF_RANGE
                values.append(part[1:-1])
                continue
            digits = part[1:] if part[:1] in ("+", "-") else part
            if not digits or len(digits) > 9 or not digits.isdigit():
                return faults.DATA_TYPE
            value = int(part)
            if value < lowest or value > highest:
                return faults.OUT_OF_RANGE
            values.append(value)
        return values

    def _do_identity(self):
        return "Sagline,%s,%s,%s" % (self._hw.model, self._hw.serial, __version__)

    def _do_reset(self):
        self.engine.reset()
        self._keep.drop()

    def _do_clear_status(self):
        self.errors.clear()
        self._events = 0

    def _do_event_status(self):
        events = self._events
        self._events = 0
        return str(events)

    def _do_status_byte(self):
        return str((4 if len(self.errors) else 0) | (32 if self._events else 0))

    def _do_self_test(self):
        live = self.engine.read_live()
        wanted = 3 * (self._hw.onboard + self._hw.ads1115)
        failures = max(0, wanted - len(live))
        return str(failures + (1 if self.engine.guard.reason else 0))

    def _do_next_error(self):
        number = self.errors.pop()
        return '%d,"%s"' % (number, faults.TEXTS[number])

    def _do_error_count(self):
        return str(len(self.errors))

    def _do_capabilities(self):
        hw = self._hw
        return _join((commands.PROTOCOL_MAJOR, commands.PROTOCOL_MINOR, hw.onboard, hw.ads1115,
                      hw.one_shot, hw.null, hw.build, hw.thermistor))  # fmt: skip

    def _do_close_session(self):
        self._session = None

    def _do_load_count(self):
        return str(len(self.engine.loads))

    def _do_load_values(self, index):
        if index >= len(self.engine.loads):
            return faults.OUT_OF_RANGE
        return _fields(self.engine.loads[index], commands.LOAD_FIELDS)

    def _do_channel_values(self, index):
        return _fields(profile.CHANNELS[index], commands.CHANNEL_FIELDS)

    def _do_converter_values(self, index):
        values = profile.CONVERTERS[index]
        if index == profile.ONBOARD and not self._hw.wide_codes:
            values = dict(values)
            values["wide_code_millilsb"] = 0
        return _fields(values, commands.CONVERTER_FIELDS)

    def _do_reference_values(self):
        return _fields(profile.REFERENCE, commands.REFERENCE_FIELDS)

    def _do_lead_values(self):
        return _fields(profile.LEADS, commands.LEAD_FIELDS)

    def _do_null_values(self):
        if not self._hw.null:
            return _join([0] * len(commands.NULL_FIELDS))
        return _fields(profile.NULL, commands.NULL_FIELDS)

    def _do_thermistor_values(self):
        if not self._hw.thermistor:
            return _join([0] * len(commands.THERMISTOR_FIELDS))
        return _fields(profile.THERMISTOR, commands.THERMISTOR_FIELDS)

    def _do_range_values(self):
        return _join(profile.RANGE_MV)

    def _do_set_range(self, high):
        if self.engine.state == RUNNING:
            return faults.INIT_IGNORED
        self.engine.set_range(high)

    def _do_set_null(self, setting):
        if not self._hw.null:
            return faults.HARDWARE
        if self.engine.state == RUNNING:
            return faults.INIT_IGNORED
        self.engine.set_null(setting)

    def _do_clear_segments(self):
        if self.engine.state == RUNNING:
            return faults.INIT_IGNORED
        self.engine.clear_segments()

    def _do_add_segment(self, mask, duration_ms):
        if self.engine.state == RUNNING:
            return faults.INIT_IGNORED
        return self.engine.add_segment(mask, duration_ms) or None

    def _do_start(self):
        return self.engine.start() or None

    def _do_state(self):
        engine = self.engine
        return _join((engine.state, engine.segment(), engine.elapsed_us() // 1000,
                      engine.sampler.count, engine.guard.reason))  # fmt: skip

    def _do_edges(self):
        return _join(self.engine.edges_us) if self.engine.edges_us else "-1"

    def _do_fetch(self, chunk):
        sampler = self.engine.sampler
        first = chunk * CHUNK_POINTS
        if self.engine.state == RUNNING or first > sampler.count:
            return faults.DATA_STALE
        last = min(first + CHUNK_POINTS, sampler.count)
        values = [chunk, last - first]
        for index in range(first, last):
            values.extend(sampler.point(index))
        return _join(values)

    def _do_abort(self):
        self.engine.abort()

    def _do_counts(self):
        self.engine.read_live()
        entries = self.engine.live_round(profile.ADS1115)
        if entries is None:
            entries = self.engine.live_round(profile.ONBOARD)
        if entries is None:
            return faults.HARDWARE
        values = [entries[0][0] >> 2, self.engine.high]
        for _source, n, total in entries:
            values.append(n)
            values.append(total)
        return _join(values)

    def _do_null_counts(self):
        for source, n, total in self.engine.read_live():
            if source == profile.ADS1115 * 4 + profile.NULL_DIFFERENCE:
                return _join((self.engine.null_setting, n, total))
        return faults.HARDWARE

    def _do_thermistor_codes(self):
        if not self._hw.thermistor:
            return faults.HARDWARE
        if self.engine.state == RUNNING:
            return faults.INIT_IGNORED
        try:
            return _join(self._hw.read_thermistor())
        except OSError:
            return faults.HARDWARE

    def _do_volts(self):
        if not self.engine.read_live():
            return faults.HARDWARE
        return _join([self.engine.live_mv(channel) for channel in range(3)])

    def _do_guard_state(self):
        return _join((self.engine.guard.reason, self.engine.guard.ready_ms()))

    def _do_guard_clear(self):
        self.engine.guard.clear()


def _split_header(unit):
    """Return (header, parameter text) of one message unit."""
    unit = unit.strip()
    space = unit.find(" ")
    if space < 0:
        return unit, ""
    return unit[:space], unit[space + 1 :].strip()


def _join(values):
    return ",".join([str(value) for value in values])


def _fields(row, names):
    return _join([row[name] for name in names])
