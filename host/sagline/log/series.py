# SPDX-License-Identifier: MIT
"""A run as a time series in CSV: volts at the taps against time, all repeats one after another.

The steps of a V-I line, on other loads, are in the record (`--raw`) alone.

    # schema: sagline-csv-1
    # load_ohm: 3.3
    time_s,sense_v,force_v,return_v
    0.0250000,1.57812345,,

Volts are nominal, as the analysis has them before the budget speaks. The counts behind them,
and how long each was summed, are in the record (`--raw`) alone.
"""

from sagline.analysis.calibration import tap_points
from sagline.analysis.values import FORCE, RETURN, SENSE, AnalysisError
from sagline.anyrecord import AnyRecord
from sagline.handfile import hand_csv
from sagline.handrecord import HandRecord
from sagline.log.csvtext import Digits, Field, Style, metadata, table
from sagline.records import Record, StepRecord
from sagline.results import METHOD

SERIES_SCHEMA = "sagline-csv-1"
COLUMNS = ("time_s", "sense_v", "force_v", "return_v")
CHANNELS = (SENSE, FORCE, RETURN)

# Volts to 10 nV: a thousandth of the finest mean, and never an exponent.
_VOLTS = ".8f"
# A middle may lie at half a microsecond.
_SECONDS = ".7f"

_READING = {
    "time_s": "seconds on the clock of the rig from the start of the first repeat; each row is "
    "the mean over a short window about its time",
    "volts": "at the taps by nominal values of the rig",
    "empty": "a field is empty where its channel was not read at that time; it is not zero",
    "current_a": "(force_v - return_v + mean of return_v before load_on_s) / "
    "(load_ohm + switch_ohm) while the load is on and zero otherwise",
}


def series_csv(record: AnyRecord, style: Style) -> str:
    """Return the run as CSV, readings by hand as `sagline hand` reads them.

    Raises AnalysisError where a record has no such form.
    """
    if isinstance(record, HandRecord):
        return hand_csv(record, style)
    if not isinstance(record, Record):
        raise AnalysisError(
            "no_series",
            f"{record.id} is no run of a rig and has no time series",
            "export it as a table, or whole with --raw; or leave it out",
        )
    if not record.repeats:
        raise AnalysisError(
            "no_steps",
            f"the run {record.id} ended before its first repeat and has no time series",
            "export it with --raw, or leave it out",
        )
    rows = [row for step in record.repeats for row in _rows(record, step)]
    return metadata(_metadata(record, style)) + table(COLUMNS, rows, style)


def _rows(record: Record, step: StepRecord) -> list[list[Field]]:
    """One row for each time at which a channel was read, in order of time."""
    raw = step.raw()
    by_time_us: dict[float, list[Field]] = {}
    for column, channel in enumerate(CHANNELS):
        middles_us, volts = tap_points(raw, record.profile, record.converter, channel)
        for middle_us, tap_v in zip(middles_us.tolist(), volts.tolist(), strict=True):
            row = by_time_us.setdefault(middle_us, [None] * len(CHANNELS))
            row[column] = Digits(f"{tap_v:{_VOLTS}}")
    return [
        [Digits(f"{_time_s(record, step, middle_us):{_SECONDS}}"), *by_time_us[middle_us]]
        for middle_us in sorted(by_time_us)
    ]


def _time_s(record: Record, step: StepRecord, since_start_us: float) -> float:
    return step.at_s - record.repeats[0].at_s + since_start_us * 1e-6


def _metadata(record: Record, style: Style) -> dict[str, Field]:
    first = record.repeats[0]
    load = record.profile.loads[first.load]
    return {
        "schema": SERIES_SCHEMA,
        "decimal": "comma" if style.decimal_comma else "point",
        "separator": "semicolon" if style.decimal_comma else "comma",
        "id": record.id,
        "kind": record.kind,
        "label": record.label,
        "designation": record.designation,
        "operator": record.operator,
        "started_at": record.started_at.isoformat(),
        "temperature_c": record.temperature_c,
        "rig": record.rig_name,
        "sagline": record.sagline,
        "method": METHOD,
        "converter": ("onboard", "ads1115")[record.converter],
        "range": "high" if first.range_high else "low",
        "state": record.state,
        "repeats": len(record.repeats),
        "load_ohm": load.load_ohm,
        "switch_ohm": load.switch_ohm,
        "load_on_s": _edges_s(record, 0),
        "load_off_s": _edges_s(record, 1),
        **_READING,
    }


def _edges_s(record: Record, which: int) -> str:
    """When the load went on (0) or off (1) in each repeat, parted by spaces."""
    return " ".join(
        f"{_time_s(record, step, step.edges_us[which]):{_SECONDS}}" for step in record.repeats
    )
