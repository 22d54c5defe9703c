# SPDX-License-Identifier: MIT
"""`sagline log compare`: runs beside each other, where that may be done."""

import argparse
import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from sagline.ids import short_id
from sagline.log import beside
from sagline.verbs.log.common import add_ids, add_verb, log_option, meant, no_result, open_log

if TYPE_CHECKING:
    from sagline.analysis.comparison import Comparison
    from sagline.anyrecord import AnyRecord
    from sagline.results import ResistanceAt, Result

    # What is compared, by the record's id, and the r that --at asked for.
    _Chosen = dict[str, tuple[AnyRecord, Result, ResistanceAt | None]]

DESCRIPTION = """Put the r of runs beside each other, the smallest first, and say which differ:
E_n is the difference over the U of both together, and beyond 1 it is more than chance. Runs
of different loads, times after load on, or temperatures (more than 3 K) are refused: their r
are not of the same thing. Readings by hand are put beside one run of a rig, whose longest time is
taken, and what was not alike is said."""


def add(verbs: Any) -> None:
    """Declare the verb."""
    parser = add_verb(verbs, "compare", "put runs beside each other: which r differ", DESCRIPTION)
    add_ids(parser)
    parser.add_argument(
        "--at", type=float, metavar="S",
        help="compare r at this time after load on, in s (default: each result's first)",
    )  # fmt: skip
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the comparison. Returns the exit status."""
    from sagline.analysis.comparison import compare

    found: _Chosen = {}
    by_hand = False
    with open_log(args) as log:
        for given in args.ids:
            record_id = log.find(given)
            record = log.any_record(record_id)
            results = log.results(record_id)
            result = meant(record, results, given)
            if result is None:
                raise no_result(record, args)
            by_hand |= record.kind == "hand"
            at = None
            if args.at is not None and record.kind != "hand":
                result, at = _at(args, record_id, [result, *reversed(results)])
            found.setdefault(record_id, (record, result, at))
    if by_hand:
        return _beside(args, found)
    compared = [
        beside.candidate_of(record, result, at or result.r_ohm)
        for record, result, at in found.values()
    ]
    done = compare(compared)
    if args.json:
        print(json.dumps({"comparison": asdict(done)}, indent=2))
    else:
        print("\n".join(_lines(done)))
    return 0


def _beside(args: argparse.Namespace, found: "_Chosen") -> int:
    """Print readings by hand beside one other result. Returns the exit status."""
    from sagline.analysis.beside import beside as put_beside
    from sagline.errors import UsageError

    if len(found) != 2:
        raise UsageError(
            "not_two",
            "Readings by hand are put beside one other result.",
            "Give two ids: that of the readings and that of a run of the same cell.",
        )
    first, second = (
        beside.candidate_of(record, result, at or beside.longest(result))
        for record, result, at in found.values()
    )
    done = put_beside(first, second)
    if args.json:
        print(json.dumps(beside.document(done), indent=2))
    else:
        print("\n".join(beside.lines(done)))
    return 0


def _at(
    args: argparse.Namespace, record_id: str, results: "Sequence[Result]"
) -> "tuple[Result, ResistanceAt]":
    """Return the first of `results` that has r at the time asked for, and that r."""
    from math import isclose

    from sagline.analysis.comparison import TIME_SHARE
    from sagline.errors import UsageError

    for result in results:
        for at in result.r_at:
            if at.t_s is not None and isclose(at.t_s, args.at, rel_tol=TIME_SHARE):
                return result, at
    known = short_id(record_id)
    raise UsageError(
        "no_such_time",
        f"The run {known} has no r at {args.at:g} s.",
        f"Compute it: `sagline log recompute{log_option(args)} {known} --times {args.at:g}`, then "
        "compare again.",
    )


def _lines(done: "Comparison") -> list[str]:
    from sagline.wording import bare_figure, notice_lines, wrapped

    heading = f"r({done.t_s:g} s) / Ω"
    lines = [
        f"On {done.load_ohm:.4g} Ω, U at 95 %:",
        f"{'ID':<8}  {heading:>19}  {'T / °C':>6}  {'E_n':>5}  LABEL",
    ]
    above = None
    for row in done.rows:
        pair = None if above is None else done.pair(above.id, row.id)
        en = "-" if pair is None or pair.en is None else f"{pair.en:.2f}"
        temperature = "-" if row.temperature_c is None else f"{row.temperature_c:g}"
        figure = bare_figure(row.r_ohm, row.u95_ohm)
        lines.append(f"{short_id(row.id)}  {figure:>19}  {temperature:>6}  {en:>5}  {row.name}")
        above = row
    lines += ["", "E_n is against the line above: up to 1 the two agree within their U.", ""]
    return [*lines, *wrapped(notice_lines(done.notices), 79)][:-1]
