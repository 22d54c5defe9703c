# SPDX-License-Identifier: MIT
"""`sagline log export`: runs as files for spreadsheets, programs and other logs."""

import argparse
import json
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from sagline.ids import short_id
from sagline.verbs.log.common import add_ids, add_verb, log_path, meant, no_result, open_log

if TYPE_CHECKING:
    from sagline.anyrecord import AnyRecord
    from sagline.log.csvtext import Style
    from sagline.log.store import Log
    from sagline.results import Result

DESCRIPTION = """Write runs to a file, or one run to standard output: as a table with a row a
run (the usual form), as time series, as results or as whole records. No file that is there
is overwritten without --force. Of a run's results the newest is meant, or the one whose id is
given."""


class _Run(NamedTuple):
    record: "AnyRecord"
    result: "Result | None"


def add(verbs: Any) -> None:
    """Declare the verb."""
    parser = add_verb(
        verbs, "export", "write runs as tables, time series, results or records", DESCRIPTION
    )
    add_ids(parser)
    parser.add_argument("--table", action="store_true", help="CSV with a row a run (default)")
    parser.add_argument(
        "--csv",
        action="store_true",
        help="volts against time of one run, or readings by hand, as CSV",
    )
    parser.add_argument(
        "--raw", action="store_true", help="one run's record, every count of it, as JSON"
    )
    parser.add_argument(
        "--out", type=Path, metavar="PATH",
        help="write to this file; a folder for several runs with --csv or --raw",
    )  # fmt: skip
    parser.add_argument("--force", action="store_true", help="overwrite files that are there")
    parser.add_argument(
        "--decimal-comma",
        action=argparse.BooleanOptionalAction,
        default=None,
        help="in CSV write 1,5 and part the fields by ; (default: as set in config.toml)",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write or print the runs. Returns the exit status."""
    from sagline.outfile import make_folder, write_files

    form = _form(args)
    style = _style(args, form)
    with open_log(args) as log:
        runs = _runs(log, args.ids, form)
    if form in ("csv", "raw"):
        paths = _paths(runs, form, args.out)
        texts = [_alone(run_.record, form, style) for run_ in runs]
    else:
        paths = [args.out]
        texts = [_table(runs, style) if form == "table" else _results(runs, args)]
    if args.out is None:
        print(texts[0], end="")
        return 0
    files = dict(zip(paths, texts, strict=True))
    _spare_log(args, paths)
    if len(files) > 1:
        make_folder(args.out)
    write_files(files, force=args.force)
    return 0


def _form(args: argparse.Namespace) -> str:
    from sagline.errors import UsageError

    forms = [name for name in ("table", "csv", "json", "raw") if getattr(args, name)]
    if len(forms) > 1:
        raise UsageError(
            "two_forms",
            f"--{forms[0]} and --{forms[1]} are two forms.",
            "Export once for each of them.",
        )
    return forms[0] if forms else "table"


def _style(args: argparse.Namespace, form: str) -> "Style":
    from sagline.config import load_config
    from sagline.errors import UsageError
    from sagline.log.csvtext import Style

    if form in ("json", "raw"):
        if args.decimal_comma:
            raise UsageError(
                "comma_in_json",
                "JSON has decimal points wherever it is read.",
                "Leave --decimal-comma out, or export with --table or --csv.",
            )
        return Style()
    wanted = args.decimal_comma
    return Style(load_config().decimal_comma if wanted is None else wanted)


def _runs(log: "Log", given: list[str], form: str) -> list[_Run]:
    """Return each run once, or each result where `form` shows results, in the order given."""
    found: dict[str, _Run] = {}
    for text in given:
        record_id = log.find(text)
        record = log.any_record(record_id)
        result = meant(record, log.results(record_id), text)
        by_result = form in ("table", "json") and result is not None
        found.setdefault(result.id if by_result and result else record_id, _Run(record, result))
    return list(found.values())


def _alone(record: "AnyRecord", form: str, style: "Style") -> str:
    """Return the text of one run for a file of its own."""
    from sagline.log.series import series_csv

    return series_csv(record, style) if form == "csv" else f"{json.dumps(record.to_dict())}\n"


def _table(runs: list[_Run], style: "Style") -> str:
    from sagline.log.runtable import runs_csv

    return runs_csv(runs, style)


def _results(runs: list[_Run], args: argparse.Namespace) -> str:
    """Return one result as `measure --json` prints it, several as a list."""
    from sagline.log.exporting import results_json

    found = []
    for record, result in runs:
        if result is None:
            raise no_result(record, args)
        found.append(result)
    return results_json(found, alone=len(found) == 1)


def _paths(runs: list[_Run], form: str, out: Any) -> list[Any]:
    """Return the file of each run: in the folder `out`, or `out` itself for a single one."""
    from sagline.errors import UsageError

    several = len(runs) > 1
    if several and (out is None or (out.exists() and not out.is_dir())):
        raise UsageError(
            "needs_folder",
            f"--{form} writes one file a run, and {len(runs)} runs were given.",
            "Name a folder with --out FOLDER.",
        )
    if out is None or not (several or out.is_dir()):
        return [out]
    suffix = "csv" if form == "csv" else "json"
    return [out / f"{_file_name(run_.record)}.{suffix}" for run_ in runs]


def _file_name(record: "AnyRecord") -> str:
    """A name that sorts by time and is legal on every system, whatever the label holds."""
    return f"{record.started_at:%Y%m%d-%H%M%S}-{short_id(record.id)}"


def _spare_log(args: argparse.Namespace, paths: Iterable[Path]) -> None:
    from sagline.errors import UsageError

    log = log_path(args)
    if any(path.exists() and path.samefile(log) for path in paths):
        raise UsageError(
            "out_is_log",
            f"{log} is the log itself; it is never overwritten.",
            "Choose another name with --out.",
        )
