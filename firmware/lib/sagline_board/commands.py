# SPDX-License-Identifier: MIT
"""The command table: every message the board understands, declared once.

A row gives the command's name, by which the board dispatches; its header (upper
case is the short form, [] may be left out); its arguments as (name, lowest,
highest), where a name in quotes is text in quotes of so many characters; and who
may send it. What only the other end needs, deadlines and what a reply means,
takes no memory here: the host adds it (`sagline.device.commandset`), and
protocol.md prints both.
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

Command = namedtuple("Command", ("name", "header", "args", "access"))

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
THERMISTOR_FIELDS = (
    "reference_ohm", "reference_tolerance_ppm", "ohm_at_25", "tolerance_ppm", "b_k",
    "b_tolerance_ppm",
)  # fmt: skip
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
# Plain tuples: they are made once, when this is compiled, and are small.
TABLE = (
    ("identity", "*IDN?", (), ANY),
    ("reset", "*RST", (), ALWAYS),
    ("clear_status", "*CLS", (), CHANGE),
    ("event_status", "*ESR?", (), CHANGE),
    ("status_byte", "*STB?", (), ANY),
    ("self_test", "*TST?", (), ANY),
    ("next_error", "SYSTem:ERRor[:NEXT]?", (), ANY),
    ("error_count", "SYSTem:ERRor:COUNt?", (), ANY),
    ("capabilities", "SYSTem:CAPability?", (), ANY),
    ("open_session", "SESSion:OPEN", (("protocol_major", 0, 999),), CHANGE),
    ("close_session", "SESSion:CLOSe", (), CHANGE),
    ("load_count", "RIG:LOAD:COUNt?", (), ANY),
    ("load_values", "RIG:LOAD?", (_LOAD,), ANY),
    ("channel_values", "RIG:CHANnel?", (("channel", 0, 2),), ANY),
    ("converter_values", "RIG:CONVerter?", (("converter", 0, 1),), ANY),
    ("reference_values", "RIG:REFerence?", (), ANY),
    ("lead_values", "RIG:LEADs?", (), ANY),
    ("null_values", "RIG:NULL?", (), ANY),
    ("thermistor_values", "RIG:THERmistor?", (), ANY),
    ("range_values", "RIG:RANGe?", (), ANY),
    ("set_range", "STEP:RANGe", (("high", 0, 1),), CHANGE),
    ("set_null", "STEP:NULL", (("setting", 0, 4095),), CHANGE),
    ("clear_segments", "STEP:CLEar", (), CHANGE),
    ("add_segment", "STEP:SEGMent", (("mask", 0, 256), ("duration_ms", 1, 120000)), CHANGE),
    ("start", "STEP:STARt", (), CHANGE),
    ("state", "STEP:STATe?", (), ANY),
    ("edges", "STEP:EDGes?", (), ANY),
    ("fetch", "STEP:FETCh?", (("chunk", 0, 9999),), ANY),
    ("abort", "ABORt", (), ALWAYS),
    ("counts", "MEASure:COUNts?", (), ANY),
    ("null_counts", "MEASure:NULL?", (), ANY),
    ("thermistor_codes", "MEASure:THERmistor?", (), ANY),
    ("volts", "MEASure:VOLTage?", (), ANY),
    ("guard_state", "GUARd:STATe?", (), ANY),
    ("guard_clear", "GUARd:CLEar", (), CHANGE),
    ("calibration_identity", "CALibration:IDENtity?", (), ANY),
    ("read_calibration", "CALibration:DATA?", (("chunk", 0, 99),), ANY),
    ("begin_calibration", "CALibration:BEGin", (("length", 1, 8192), ('"id"', 1, 40)), CHANGE),
    ("write_calibration", "CALibration:DATA", (("chunk", 0, 99), ('"base64"', 4, 128)), CHANGE),
    ("commit_calibration", "CALibration:COMMit", (('"CRC-32"', 8, 8),), CHANGE),
    ("clear_calibration", "CALibration:CLEar", (), CHANGE),
)

# The commands found so far by how they were written. Spellings are finite; the bound keeps a
# stranger's lines from filling the heap.
_known = {}
_MOST_KNOWN = 64


def find(header):
    """Return the Command that `header` (any case, short or long) names, or None."""
    header = header.upper()
    command = _known.get(header)
    if command is None:
        for row in TABLE:
            if spells(row[1], header):
                command = Command(*row)
                break
        if command is not None and len(_known) < _MOST_KNOWN:
            _known[header] = command
    return command


def spells(pattern, header):
    """Tell whether the upper-case `header` spells `pattern`, each node short or long."""
    # Most rows end here, so that nothing slow is done for each.
    asks = header.endswith("?")
    if header[:1] != pattern[0] or pattern.endswith("?") != asks:
        return False
    nodes = pattern.rstrip("?").replace("[:", ":[").split(":")
    words = (header[:-1] if asks else header).split(":")
    return _match(nodes, 0, words, 0)


def _match(nodes, n, words, w):
    if n == len(nodes):
        return w == len(words)
    node = nodes[n]
    name = node.strip("[]")
    if w < len(words) and words[w] in (short_form(name), name.upper()):
        if _match(nodes, n + 1, words, w + 1):
            return True
    return node[0] == "[" and _match(nodes, n + 1, words, w)


def short_form(name):
    """Return the short form of a node: what in it is not lower case."""
    return "".join([c for c in name if not "a" <= c <= "z"])
