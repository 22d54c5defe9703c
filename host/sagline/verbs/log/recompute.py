# SPDX-License-Identifier: MIT
"""`sagline log recompute`: figures from the record again, beside those it has."""

import argparse
import json
from typing import TYPE_CHECKING, Any

from sagline.ids import short_id
from sagline.verbs.common import times_s
from sagline.verbs.log.common import add_filters, add_verb, filters_of, open_log
from sagline.verbs.progressline import ProgressLine

if TYPE_CHECKING:
    from sagline.log.recomputing import Recomputed


def add(verbs: Any) -> None:
    """Declare the verb."""
    parser = add_verb(
        verbs,
        "recompute",
        "compute runs again from their records, beside the results they have",
        "Compute runs again from their records by this version's method. The results they have "
        "stay; where one of this method and these times is there, nothing is added.",
    )
    parser.add_argument("ids", nargs="*", metavar="ID", help="runs; none: those of the filters")
    parser.add_argument(
        "--times", type=times_s, metavar="S,...", help="times after switching for r, in s"
    )
    add_filters(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Compute, add and tell. Returns 4 where a run yields no figure."""
    from sagline.analysis.values import AnalysisError
    from sagline.errors import UsageError
    from sagline.log.listing import Filters, list_runs
    from sagline.log.recomputing import recompute
    from sagline.log.runwords import recomputed_line

    asked = filters_of(args)
    if args.ids and asked != Filters():
        raise UsageError(
            "ids_and_filters", "Ids and filters were given.", "Give ids, or choose by filters."
        )
    times = None if args.times is None else tuple(dict.fromkeys(args.times))
    done: list[Recomputed] = []
    failed: list[tuple[str, AnalysisError]] = []
    with ProgressLine() as line, open_log(args, write=True) as log:
        if args.ids:
            record_ids = list(dict.fromkeys(log.find(given) for given in args.ids))
        else:
            record_ids = [row.id for row in list_runs(log, asked)]
        for number, record_id in enumerate(record_ids, 1):
            line.show(f"{number} of {len(record_ids)} runs")
            try:
                done.append(recompute(log, record_id, times))
            except AnalysisError as error:
                failed.append((record_id, error))
    if args.json:
        print(json.dumps(_document(done, failed), indent=2))
    else:
        if not record_ids:
            print("No run is as you ask.")
        for one in done:
            print(recomputed_line(one))
        for record_id, error in failed:
            print(f"{short_id(record_id)}  no figure: {error.message} {error.remedy}")
    return AnalysisError.exit_status if failed else 0


def _document(done: list["Recomputed"], failed: list[Any]) -> dict[str, Any]:
    return {
        "results": [
            {"id": one.record_id, "added": one.added, "result": one.result.to_dict()}
            for one in done
        ],
        "failed": [{"id": record_id, **error.to_dict()} for record_id, error in failed],
    }
