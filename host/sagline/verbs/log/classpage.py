# SPDX-License-Identifier: MIT
"""`sagline log class`: many teams' results on one page."""

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sagline.verbs.common import add_json

if TYPE_CHECKING:
    from sagline.results import Result


def add(verbs: Any) -> None:
    """Declare the verb."""
    parser = verbs.add_parser(
        "class",
        help="put many teams' results on one page",
        description="Put the results of many teams on one HTML page: every team's interval on one "
        "line of numbers, and a table. The files are those of `sagline log export --json` or "
        "`sagline measure --json`, one result or a list in each; a team is called by its operator, "
        "its label or its file.",
        allow_abbrev=False,
    )
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE.json", help="results")
    parser.add_argument(
        "--out", type=Path, required=True, metavar="FILE.html", help="where it is written"
    )
    parser.add_argument("--title", default="One cell, many teams", help="what stands at its head")
    parser.add_argument("--force", action="store_true", help="overwrite what is there")
    add_json(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the page. Returns the exit status."""
    from sagline.outfile import write_files
    from sagline.report.ofclass import class_page, teams_of

    named = [(file.stem, result) for file in args.files for result in _results(file)]
    text = class_page(args.title, teams_of(named))
    write_files({args.out: text}, force=args.force)
    if args.json:
        print(json.dumps({"written": [str(args.out)], "results": len(named)}))
    else:
        print(f"Written to {args.out}: {len(named)} results.")
    return 0


def _results(file: Path) -> "list[Result]":
    """The results in a file. Raises UsageError where it is none of ours."""
    from pydantic import ValidationError

    from sagline.errors import UsageError
    from sagline.results import Result

    why = "Give files that `sagline log export --json` has written."
    try:
        read = json.loads(file.read_text(encoding="utf-8"))
    except OSError as error:
        reason = error.strerror or str(error)
        raise UsageError("not_read", f"{file} cannot be read: {reason}.", why) from error
    except ValueError as error:
        raise UsageError("not_json", f"{file} is no JSON: {error}.", why) from error
    try:
        return [Result.model_validate(one) for one in (read if isinstance(read, list) else [read])]
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "the document"
        raise UsageError(
            "no_result_in_file", f"{file} holds no result: {where}: {first['msg']}.", why
        ) from error
