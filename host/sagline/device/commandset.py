# SPDX-License-Identifier: MIT
"""The board's commands as its other end knows them: what each does, replies, and how soon.

The board's own table (`sagline_board.commands`) says how a command is written and who may send
it; protocol.md prints both as one.
"""

from typing import NamedTuple

from sagline_board import commands
from sagline_board.commands import (
    CHANNEL_FIELDS,
    CONVERTER_FIELDS,
    LEAD_FIELDS,
    LOAD_FIELDS,
    NULL_FIELDS,
    REFERENCE_FIELDS,
    THERMISTOR_FIELDS,
)


class Told(NamedTuple):
    """What the board does not know of a command: see `Command`."""

    reply: tuple[str, ...] | str
    summary: str
    deadline_ms: int = 200


class Command(NamedTuple):
    """One command.

    `reply` names the integers of its reply, or describes a reply that is text;
    `args` are (name, lowest, highest).
    """

    name: str
    header: str
    args: tuple[tuple[str, int, int], ...]
    access: str
    reply: tuple[str, ...] | str
    summary: str
    deadline_ms: int


TOLD = {
    "identity": Told("maker,model,serial,firmware", "Who is there: four fields."),
    "reset": Told((), "Load off, step and plan forgotten, 16.5 V range. Errors and trips stay."),
    "clear_status": Told((), "Empty the error queue and the event register."),
    "event_status": Told(("event_status",), "Read and clear the event status register."),
    "status_byte": Told(
        ("status_byte",), "Status byte: bit 2 errors are queued, bit 5 an event is set."
    ),
    "self_test": Told(
        ("failures",), "0 when the converters answer and no trip is latched.", deadline_ms=500
    ),
    "next_error": Told('number,"text"', "Take the oldest error from the queue."),
    "error_count": Told(("count",), "How many errors are queued."),
    "capabilities": Told(
        (
            "protocol_major",
            "protocol_minor",
            "onboard",
            "ads1115",
            "one_shot",
            "null",
            "build",
            "thermistor",
        ),
        "Protocol version; which converters are fitted; 1 if hardware ends each pulse; 1 with "
        "the null channel; 1 for the base build, which has no ARM; 1 with a thermistor.",
    ),
    "open_session": Told(
        ("protocol_major", "protocol_minor"),
        "Open the session named by this envelope; ends any other. Envelope only.",
    ),
    "close_session": Told((), "End the session."),
    "load_count": Told(("count",), "How many loads the bank has."),
    "load_values": Told(LOAD_FIELDS, "Values and limits of one load, from 0."),
    "channel_values": Told(
        CHANNEL_FIELDS, "Divider of a channel: 0 sense, 1 force, 2 return. 0 ohm is not fitted."
    ),
    "converter_values": Told(CONVERTER_FIELDS, "A converter: 0 on-board, 1 ADS1115."),
    "reference_values": Told(REFERENCE_FIELDS, "The reference that lifts the channels."),
    "lead_values": Told(
        LEAD_FIELDS,
        "Negative leads as they usually are, what ties the return node to ground, and what the "
        "force path may carry.",
    ),
    "null_values": Told(NULL_FIELDS, "The null channel; all 0 where it is not fitted."),
    "thermistor_values": Told(
        THERMISTOR_FIELDS, "The thermistor at the cell; all 0 where none is fitted."
    ),
    "range_values": Told(("low_mv", "high_mv"), "Highest cell voltage of the two ranges."),
    "set_range": Told((), "Choose the range for what follows: 0 low, 1 the 16.5 V range."),
    "set_null": Told(
        (),
        "Set the null channel for what follows: its voltage in steps of reference over settings.",
    ),
    "clear_segments": Told((), "Forget the planned segments and the last record."),
    "add_segment": Told(
        (), "Add a segment: a bit for each load that is on (0 rest, 256 ARM alone); duration."
    ),
    "start": Told(
        (), "Check the plan against the guard, then run it. Poll STEP:STATe?.", deadline_ms=500
    ),
    "state": Told(
        ("state", "segment", "elapsed_ms", "points", "reason"),
        "0 idle, 1 running, 2 done, 3 aborted, 4 tripped; segment; time; points; trip number.",
    ),
    "edges": Told(
        "instants of switching in us from the start",
        "When the load mask changed, as far as the step has come.",
    ),
    "fetch": Told(
        "chunk,count, then five integers a point",
        "Chunk of the record: source,start_us,length_us,n,total for each point. Repeatable.",
    ),
    "abort": Told((), "Load off now; a running step ends as aborted."),
    "counts": Told(
        (
            "converter",
            "high",
            "sense_n",
            "sense_total",
            "force_n",
            "force_total",
            "return_n",
            "return_total",
        ),
        "One live reading as sums of codes.",
    ),
    "null_counts": Told(
        ("setting", "n", "total"),
        "The setting, and one live reading of sense less null as a sum of signed codes.",
    ),
    "thermistor_codes": Told(
        ("bead", "supply"),
        "One reading at rest: codes of the thermistor, and of the voltage over it and its "
        "resistor.",
    ),
    "volts": Told(
        ("sense_mv", "force_mv", "return_mv"),
        "One live reading in whole millivolts, nominal values: for a person at a terminal.",
    ),
    "guard_state": Told(
        ("reason", "ready_ms"), "Latched trip (0 none); time until every load is cool."
    ),
    "guard_clear": Told((), "Clear a latched trip once its cause is gone."),
    "calibration_identity": Told(
        'slot,damaged,length,"CRC-32","id"',
        "The calibration kept: its slot (0 none), slots that hold something damaged, bytes, CRC, "
        "id.",
    ),
    "read_calibration": Told(
        'chunk,count,"base64"',
        "Chunk of the calibration kept: its bytes as base64. Repeatable.",
        deadline_ms=500,
    ),
    "begin_calibration": Told(
        (), "Begin a calibration of so many bytes; what is kept stays until the commit."
    ),
    "write_calibration": Told((), "Put a chunk into the calibration begun, in any order."),
    "commit_calibration": Told(
        (), "Loads off; keep what was begun if it is whole, of this CRC.", deadline_ms=3000
    ),
    "clear_calibration": Told((), "Loads off; keep no calibration.", deadline_ms=3000),
}

TABLE = tuple(Command(*row, *TOLD[row[0]]) for row in commands.TABLE)
_BY_NAME = {command.name: command for command in TABLE}


def by_name(name: str) -> Command:
    """Return the command with this name. Raises KeyError if there is none."""
    return _BY_NAME[name]


def request(name: str, *values: int | str) -> str:
    """Return the message that asks for `name` with `values`. Raises KeyError as `by_name`."""
    header = by_name(name).header.replace("[:NEXT]", "")
    return " ".join([header, ",".join(map(_written, values))]) if values else header


def _written(value: int | str) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)
