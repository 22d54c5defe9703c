# SPDX-License-Identifier: MIT
"""What a log has, a row a run, the newest first."""

from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

from sagline.log.opening import explained, folded
from sagline.log.rows import moment
from sagline.log.store import Log
from sagline.records import LINE_FROM

SEARCHED = ("label", "designation", "rig", "operator", "note", "id")


@dataclass(frozen=True)
class Filters:
    """Which runs are meant; None means any.

    `label`, `designation`, `rig` are parts of the text, in any case; `since` and `until` bound
    the start, the latter excluded. Each word of `text` is in one of SEARCHED.
    """

    label: str | None = None
    designation: str | None = None
    rig: str | None = None
    since: datetime | None = None
    until: datetime | None = None
    deleted: bool = False
    text: str | None = None


@dataclass(frozen=True)
class Row:
    """One run, and the figures of its result; None where it has none.

    That is the newest result at the times that were asked for; without one, the newest.

    `r_u95_ohm` is the half width of r's 95 % interval, None where that is unknown.
    """

    id: str
    started_at: datetime
    kind: str
    label: str | None
    designation: str | None
    rig: str
    operator: str | None
    deleted: bool
    note: str | None
    state: str
    repeats: int
    results: int
    emf_v: float | None
    r_ohm: float | None
    r_u95_ohm: float | None
    r_t_s: float | None


# The inner query finds the rows by index or by a scan of small rows; what belongs to each is
# looked up for those alone.
_QUERY = """
SELECT found.*, coalesce(ending.how, 'interrupted'),
    (SELECT count(*) FROM step WHERE record_id = found.id AND n < {line_from}),
    (SELECT count(*) FROM result WHERE record_id = found.id),
    result.emf_v, result.r_ohm, result.r_u95_ohm, result.r_t_s
FROM (
    SELECT id, started_at, kind, label, designation, rig, operator, deleted, {note} FROM record
    WHERE {where} ORDER BY started_at DESC, id DESC LIMIT :limit
) AS found
LEFT JOIN ending ON ending.record_id = found.id
LEFT JOIN result ON result.id = (
    SELECT one.id FROM result AS one JOIN header USING (record_id)
    WHERE one.record_id = found.id
    ORDER BY one.times = header.document ->> '$.asked.times_s' DESC, one.id DESC LIMIT 1
)
ORDER BY found.started_at DESC, found.id DESC
"""


def list_runs(log: Log, filters: Filters, limit: int = -1) -> list[Row]:
    """Return the runs that `filters` mean, at most `limit` of them (-1: all). Raises LogError."""
    where, values = _where(log, filters)
    with explained(log.path):
        found = log.db.execute(
            _QUERY.format(where=where, line_from=LINE_FROM, note=_note(log)),
            {**values, "limit": limit},
        ).fetchall()
    return [_row(values) for values in found]


def count_runs(log: Log, filters: Filters) -> int:
    """Return how many runs `filters` mean. Raises LogError."""
    where, values = _where(log, filters)
    with explained(log.path):
        return log.db.execute(f"SELECT count(*) FROM record WHERE {where}", values).fetchone()[0]


def _row(values: tuple[Any, ...]) -> Row:
    named = dict(zip((field.name for field in fields(Row)), values, strict=True))
    named["started_at"] = datetime.fromisoformat(named["started_at"])
    named["deleted"] = bool(named["deleted"])
    return Row(**named)


def _note(log: Log) -> str:
    return "note" if log.has_notes else "NULL AS note"


def _where(log: Log, filters: Filters) -> tuple[str, dict[str, object]]:
    terms = ["deleted = :deleted"]
    values: dict[str, object] = {"deleted": int(filters.deleted)}
    for column in ("label", "designation", "rig"):
        text = getattr(filters, column)
        if text is not None:
            terms.append(f"instr(folded({column}), :{column})")
            values[column] = folded(text)
    searched = [name for name in SEARCHED if name != "note" or log.has_notes]
    for number, word in enumerate((filters.text or "").split()):
        places = " OR ".join(f"instr(folded({column}), :word{number})" for column in searched)
        terms.append(f"({places})")
        values[f"word{number}"] = folded(word)
    for name, comparison in (("since", ">="), ("until", "<")):
        at = getattr(filters, name)
        if at is not None:
            terms.append(f"started_at {comparison} :{name}")
            values[name] = moment(at)
    return " AND ".join(terms), values
