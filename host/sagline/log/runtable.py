# SPDX-License-Identifier: MIT
"""Runs as a table for a spreadsheet: one row a run, the unit in each heading."""

from collections.abc import Sequence

from sagline.anyrecord import AnyRecord
from sagline.log.csvtext import Field, Style, table
from sagline.results import Quantity, Result
from sagline.wording import expanded


def runs_csv(runs: Sequence[tuple[AnyRecord, Result | None]], style: Style) -> str:
    """Return the runs as CSV, each with the result given beside it, if it has one.

    `_u95_` is U, the half width of the interval from `_low95_` to `_high95_`.
    """
    rows = [_row(record, result) for record, result in runs]
    return table(list(rows[0]), [list(row.values()) for row in rows], style)


def _row(record: AnyRecord, result: Result | None) -> dict[str, Field]:
    kept = None if result is None else sum(row.kept for row in result.repeats)
    return {
        "id": record.id,
        "started_at": record.started_at.isoformat(),
        "label": record.label,
        "designation": record.designation,
        "operator": record.operator,
        "rig": record.rig_name,
        "kind": record.kind,
        "state": record.state,
        **_quantity("emf", "v", None if result is None else result.emf_v),
        **_quantity("r", "ohm", None if result is None else result.r_ohm),
        "t_s": None if result is None else result.r_ohm.t_s,
        "load_ohm": record.load_ohm,
        "current_a": None if result is None or not result.current_a else result.current_a.value,
        "temperature_c": record.temperature_c,
        "repeats_measured": record.repeats_measured,
        "repeats_kept": kept,
        "warnings": None if result is None else " ".join(w.code for w in result.warnings),
        "method": None if result is None else result.method,
        "sagline": record.sagline,
        "result_id": None if result is None else result.id,
    }


def _quantity(name: str, unit: str, quantity: Quantity | None) -> dict[str, Field]:
    return {
        f"{name}_{unit}": None if quantity is None else quantity.value,
        f"{name}_u95_{unit}": None if quantity is None else expanded(quantity),
        f"{name}_low95_{unit}": None if quantity is None else quantity.low95,
        f"{name}_high95_{unit}": None if quantity is None else quantity.high95,
    }
