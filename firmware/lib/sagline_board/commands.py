# SPDX-License-Identifier: MIT
"""The command table: every message the board understands, declared once.

A row gives the header (upper case is the short form, [] may be left out), its
arguments as (name, lowest, highest), where a name in quotes is text in quotes of
so many characters, the integer fields of its reply (or a
sentence where the reply is text), the deadline for the reply in ms, who may
send it, and what it does. protocol.md prints this table; the board dispatches
by `name`; the host takes deadlines and reply fields from here.
"""

from collections import namedtuple

PROTOCOL_MAJOR = 1
PROTOCOL_MINOR = 0

# A session ends by itself after this long without a valid envelope.
SESSION_MS = 10000

# Who may send a command in the plain form while a session is open.
ANY = "query"  # reads only
ALWAYS = "always"  # makes the rig safe: obeyed from anyone at any time
CHANGE = "change"  # only inside the session

Command = namedtuple(
    "Command", ("name", "header", "args", "reply", "deadline_ms", "access", "summary")
)

LOAD_FIELDS = (
    "load_milliohm", "tolerance_ppm", "switch_milliohm", "switch_tolerance_ppm",
    "tcr_ppm_per_k", "switch_tcr_ppm_per_k", "heat_mj_per_k", "switch_heat_mj_per_k", "max_mv",
    "max_ma", "max_on_ms", "max_pulse_mj", "mean_mw",
)  # fmt: skip
CHANNEL_FIELDS = (
    "top_ohm", "foot_ohm", "lift_ohm", "range_foot_ohm", "tolerance_ppm", "follower_offset_uv",
)  # fmt: skip
CONVERTER_FIELDS = (
    "lsb_nv", "full_code", "gain_ppm", "offset_millilsb", "inl_millilsb", "noise_millilsb",
    "sample_ns", "rate_tolerance_ppm", "wide_code_millilsb",
)  # fmt: skip
NULL_FIELDS = (
    "settings", "reference_uv", "tolerance_ppm", "lsb_pv", "full_code", "range_match_ppm",
    "inl_millilsb", "noise_millilsb", "load_shift_nv",
)  # fmt: skip
REFERENCE_FIELDS = ("reference_uv", "tolerance_ppm")
LEAD_FIELDS = ("return_path_milliohm", "sense_path_milliohm", "ground_tie_ohm", "force_max_ma")
POINT_FIELDS = ("source", "start_us", "length_us", "n", "total")
# Short enough that one damaged byte in a thousand spoils one reply in five.
CHUNK_POINTS = 8
MAX_SEGMENTS = 16
# Bytes of a kept document in one chunk: 128 characters of base64.
KEPT_CHUNK = 96
# A segment's mask that closes the ARM switch with every gate low: nothing may flow then.
ARM_ALONE = 256
ARM_ALONE_MS = 50

# STEP:STATe? answers one of these.
IDLE, RUNNING, DONE, ABORTED, TRIPPED = 0, 1, 2, 3, 4

_LOAD = ("load", 0, 7)
_TABLE = (
    ("identity", "*IDN?", (), "maker,model,serial,firmware", 200, ANY,
     "Who is there: four fields."),
    ("reset", "*RST", (), (), 200, ALWAYS,
     "Load off, step and plan forgotten, 16.5 V range. Errors and trips stay."),
    ("clear_status", "*CLS", (), (), 200, CHANGE,
     "Empty the error queue and the event register."),
    ("event_status", "*ESR?", (), ("event_status",), 200, CHANGE,
     "Read and clear the event status register."),
    ("status_byte", "*STB?", (), ("status_byte",), 200, ANY,
     "Status byte: bit 2 errors are queued, bit 5 an event is set."),
    ("self_test", "*TST?", (), ("failures",), 500, ANY,
     "0 when the converters answer and no trip is latched."),
    ("next_error", "SYSTem:ERRor[:NEXT]?", (), "number,\"text\"", 200, ANY,
     "Take the oldest error from the queue."),
    ("error_count", "SYSTem:ERRor:COUNt?", (), ("count",), 200, ANY,
     "How many errors are queued."),
    ("capabilities", "SYSTem:CAPability?", (),
     ("protocol_major", "protocol_minor", "onboard", "ads1115", "one_shot", "null", "build"),
     200, ANY,
     "Protocol version; which converters are fitted; 1 if hardware ends each pulse; 1 with the "
     "null channel; 1 for the base build, which has no ARM."),
    ("open_session", "SESSion:OPEN", (("protocol_major", 0, 999),),
     ("protocol_major", "protocol_minor"), 200, CHANGE,
     "Open the session named by this envelope; ends any other. Envelope only."),
    ("close_session", "SESSion:CLOSe", (), (), 200, CHANGE,
     "End the session."),
    ("load_count", "RIG:LOAD:COUNt?", (), ("count",), 200, ANY,
     "How many loads the bank has."),
    ("load_values", "RIG:LOAD?", (_LOAD,), LOAD_FIELDS, 200, ANY,
     "Values and limits of one load, from 0."),
    ("channel_values", "RIG:CHANnel?", (("channel", 0, 2),), CHANNEL_FIELDS, 200, ANY,
     "Divider of a channel: 0 sense, 1 force, 2 return. 0 ohm is not fitted."),
    ("converter_values", "RIG:CONVerter?", (("converter", 0, 1),), CONVERTER_FIELDS, 200, ANY,
     "A converter: 0 on-board, 1 ADS1115."),
    ("reference_values", "RIG:REFerence?", (), REFERENCE_FIELDS, 200, ANY,
     "The reference that lifts the channels."),
    ("lead_values", "RIG:LEADs?", (), LEAD_FIELDS, 200, ANY,
     "Negative leads as they usually are, what ties the return node to ground, and what the force "
     "path may carry."),
    ("null_values", "RIG:NULL?", (), NULL_FIELDS, 200, ANY,
     "The null channel; all 0 where it is not fitted."),
    ("range_values", "RIG:RANGe?", (), ("low_mv", "high_mv"), 200, ANY,
     "Highest cell voltage of the two ranges."),
    ("set_range", "STEP:RANGe", (("high", 0, 1),), (), 200, CHANGE,
     "Choose the range for what follows: 0 low, 1 the 16.5 V range."),
    ("set_null", "STEP:NULL", (("setting", 0, 4095),), (), 200, CHANGE,
     "Set the null channel for what follows: its voltage in steps of reference over settings."),
    ("clear_segments", "STEP:CLEar", (), (), 200, CHANGE,
     "Forget the planned segments and the last record."),
    ("add_segment", "STEP:SEGMent", (("mask", 0, 256), ("duration_ms", 1, 120000)), (), 200,
     CHANGE,
     "Add a segment: a bit for each load that is on (0 rest, 256 ARM alone); duration."),
    ("start", "STEP:STARt", (), (), 500, CHANGE,
     "Check the plan against the guard, then run it. Poll STEP:STATe?."),
    ("state", "STEP:STATe?", (), ("state", "segment", "elapsed_ms", "points", "reason"), 200, ANY,
     "0 idle, 1 running, 2 done, 3 aborted, 4 tripped; segment; time; points; trip number."),
    ("edges", "STEP:EDGes?", (), "instants of switching in us from the start", 200, ANY,
     "When the load mask changed, as far as the step has come."),
    ("fetch", "STEP:FETCh?", (("chunk", 0, 9999),), "chunk,count, then five integers a point",
     200, ANY,
     "Chunk of the record: source,start_us,length_us,n,total for each point. Repeatable."),
    ("abort", "ABORt", (), (), 200, ALWAYS,
     "Load off now; a running step ends as aborted."),
    ("counts", "MEASure:COUNts?", (),
     ("converter", "high", "sense_n", "sense_total", "force_n", "force_total", "return_n",
      "return_total"), 200, ANY,
     "One live reading as sums of codes."),
    ("null_counts", "MEASure:NULL?", (), ("setting", "n", "total"), 200, ANY,
     "The setting, and one live reading of sense less null as a sum of signed codes."),
    ("volts", "MEASure:VOLTage?", (), ("sense_mv", "force_mv", "return_mv"), 200, ANY,
     "One live reading in whole millivolts, nominal values: for a person at a terminal."),
    ("guard_state", "GUARd:STATe?", (), ("reason", "ready_ms"), 200, ANY,
     "Latched trip (0 none); time until every load is cool."),
    ("guard_clear", "GUARd:CLEar", (), (), 200, CHANGE,
     "Clear a latched trip once its cause is gone."),
    ("calibration_identity", "CALibration:IDENtity?", (), "slot,damaged,length,\"CRC-32\",\"id\"",
     200, ANY,
     "The calibration kept: its slot (0 none), slots that hold something damaged, bytes, CRC, id."),
    ("read_calibration", "CALibration:DATA?", (("chunk", 0, 99),), "chunk,count,\"base64\"", 500,
     ANY,
     "Chunk of the calibration kept: its bytes as base64. Repeatable."),
    ("begin_calibration", "CALibration:BEGin", (("length", 1, 8192), ("\"id\"", 1, 40)), (), 200,
     CHANGE,
     "Begin a calibration of so many bytes; what is kept stays until the commit."),
    ("write_calibration", "CALibration:DATA", (("chunk", 0, 99), ("\"base64\"", 4, 128)), (), 200,
     CHANGE,
     "Put a chunk into the calibration begun, in any order."),
    ("commit_calibration", "CALibration:COMMit", (("\"CRC-32\"", 8, 8),), (), 3000, CHANGE,
     "Loads off; keep what was begun if it is whole, of this CRC."),
    ("clear_calibration", "CALibration:CLEar", (), (), 3000, CHANGE,
     "Loads off; keep no calibration."),
)  # fmt: skip

TABLE = tuple(Command(*row) for row in _TABLE)


class Header:
    """One header pattern, matched node by node in its short or long form."""

    def __init__(self, pattern):
        self.query = pattern.endswith("?")
        text = pattern[:-1] if self.query else pattern
        self.nodes = []
        for node in text.replace("[:", ":[").split(":"):
            optional = node.startswith("[")
            name = node.strip("[]")
            short = "".join([c for c in name if not "a" <= c <= "z"])
            self.nodes.append((short, name.upper(), optional))

    def matches(self, words):
        """Tell whether the upper-case `words` spell this header."""
        return self._match(words, 0, 0)

    def _match(self, words, w, n):
        if n == len(self.nodes):
            return w == len(words)
        short, full, optional = self.nodes[n]
        if w < len(words) and (words[w] == short or words[w] == full):
            if self._match(words, w + 1, n + 1):
                return True
        return optional and self._match(words, w, n + 1)


HEADERS = tuple(Header(command.header) for command in TABLE)

_known = {}
_by_name = {command.name: command for command in TABLE}


def find(header):
    """Return the Command that `header` (any case, short or long) names, or None."""
    header = header.upper()
    command = _known.get(header)
    if command is None:
        query = header.endswith("?")
        words = (header[:-1] if query else header).split(":")
        for pattern, row in zip(HEADERS, TABLE):
            if pattern.query == query and pattern.matches(words):
                command = row
                break
        # Spellings are finite; the bound keeps a stranger's lines from filling the heap.
        if command is not None and len(_known) < 64:
            _known[header] = command
    return command


def by_name(name):
    """Return the Command with this name. Raises KeyError if there is none."""
    return _by_name[name]


def request(name, *values):
    """Return the message text (str) that asks for `name` with `values`, integers and texts."""
    header = by_name(name).header.replace("[:NEXT]", "")
    if not values:
        return header
    return header + " " + ",".join([_written(value) for value in values])


def _written(value):
    return '"%s"' % value if isinstance(value, str) else str(value)
