# SPDX-License-Identifier: MIT
"""How often do the 95 % intervals hold the truth, and how wide are they? (simulated)

    python tests/bench/coverage.py [--draws 10000] [--from 0] [--jobs 2]
        [--cells lr6,custom] [--front-ends null,ads1115,both,onboard] [--by cell,front_end]
        [--calibrated] [--save FILE] [--read FILE ...] [--quantiles] [--json]

One draw is one rig, one run of noise and one cell: those of the catalogue with their
designation, and `custom`, another random cell each time. The whole of `Rig.measure` runs, and
its intervals of E, r(0.1 s) and r(t_f) are compared with the true values on the same load. Rows
are cell × front end, and the boards RP2040 and RP2350 take turns.

A draw depends on its number alone: `--save` appends each to a file as it is done, a study that
was cut off goes on with `--from`, and `--read` makes the tables of saved draws again, of which
the last of each number counts. Numbers belong to the lists of cells and front ends they were
drawn with.

Exit status 1 where all draws together cover in less than 94 % or more than 96 %, where a row is
further from 95 % than three binomial standard deviations, or where a mean error is above 0.1 u
(three of its standard deviations where those are more).
"""

import argparse
import json
import sys
from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from dataclasses import asdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.draws import CELL_NAMES, FRONT_ENDS, Draw, Study, names
from bench.spread import spread
from bench.tally import QUANTILES, QUANTITIES, Cover, Row, overall_of, rows_of, wrong

BY = ("cell", "front_end", "board", "load_ohm", "limit")


def read(files: Iterable[str]) -> list[Draw]:
    """The draws saved in `files`; of several with one number the last."""
    found = {}
    for file in files:
        for line in Path(file).read_text().splitlines():
            draw = Draw.from_dict(json.loads(line))
            found[draw.number] = draw
    return list(found.values())


def make(study: Study, numbers: Sequence[int], jobs: int, save: str | None) -> list[Draw]:
    """Measure the draws of these numbers, saving each as it is done."""
    draws = []
    with ExitStack() as stack:
        file = save and stack.enter_context(open(save, "a"))
        for draw in spread(study.draw, numbers, jobs):
            draws.append(draw)
            if file:
                print(json.dumps(draw.to_dict()), file=file, flush=True)
    return draws


def table(rows: Iterable[Row], by: Sequence[str]) -> Iterable[str]:
    """The rows as lines of text."""
    head = " ".join(f"{name:<10}" for name in by)
    yield (
        head
        + " draws"
        + "".join(f" | {words:>9} in   U/true   bias   sd  worst" for words in QUANTITIES.values())
    )
    for row in rows:
        key = " ".join(f"{text:<10}" for text in row.key).ljust(len(head))
        yield f"{key} {row.draws:>5}" + "".join(_cells(cover) for cover in row.covers.values())


def _cells(cover: Cover | None) -> str:
    if cover is None:
        return " | " + "-".rjust(38)
    return (
        f" | {cover.share:>12.1%} {cover.half_rel:>8.2%} {cover.bias:>+6.2f} {cover.sd:>4.2f} "
        f"{cover.worst:>6.2f}"
    )


def details(rows: Iterable[Row], every: bool) -> Iterable[str]:
    """Quantiles of (figure − truth)/u of the rows out of bounds, or of `every` row."""
    for row in rows:
        for name, cover in row.covers.items():
            if cover is not None and (every or cover.wrong()):
                listed = " ".join(f"{value:+.2f}" for value in cover.quantiles)
                said = "; ".join(cover.wrong()) or "within bounds"
                yield f"{' '.join(row.key)} {QUANTITIES[name]}: z {listed}; {said}"


def main() -> int:
    """Run the study, or read one; print its tables."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--draws", type=int, default=10_000)
    parser.add_argument("--from", type=int, default=0, dest="first", metavar="N")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--cells", default=",".join(CELL_NAMES))
    parser.add_argument("--front-ends", default=",".join(FRONT_ENDS))
    parser.add_argument("--calibrated", action="store_true", help="rigs that know themselves")
    parser.add_argument("--by", default="cell,front_end", help=f"of {', '.join(BY)}")
    parser.add_argument("--save", metavar="FILE")
    parser.add_argument("--read", metavar="FILE", nargs="+", help="draw nothing")
    parser.add_argument("--quantiles", action="store_true", help="of (figure - truth)/u")
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    try:
        by = names(args.by, BY)
        cells, front_ends = names(args.cells, CELL_NAMES), names(args.front_ends, FRONT_ENDS)
    except ValueError as error:
        parser.error(str(error))
    if args.read:
        draws = read(args.read)
    else:
        study = Study(cells, front_ends, args.calibrated)
        draws = make(study, range(args.first, args.draws), args.jobs, args.save)
    if not draws:
        parser.error("no draws: --from is the first number, --draws the one after the last")
    rows, overall = rows_of(draws, by), overall_of(draws)
    broken = wrong(rows, overall)
    if args.json:
        print(json.dumps({
            "rows": [asdict(row) for row in rows],
            "overall": asdict(overall),
            "wrong": broken,
        }, indent=2))  # fmt: skip
        return 1 if broken else 0
    methods = ", ".join(sorted({draw.method for draw in draws if draw.method}))
    print(f"simulated; 95 % intervals against the truth; method {methods or 'none'}")
    print("\n".join(table([*rows, overall], by)))
    for row in rows:
        if row.refusals:
            listed = ", ".join(f"{n} × {code}" for code, n in row.refusals.items())
            print(f"refused: {' '.join(row.key)}: {listed}")
    quantiles = ", ".join(f"{q:.1%}" for q in QUANTILES)
    if lines := list(details([*rows, overall], args.quantiles)):
        print(f"quantiles of z = (figure - truth)/u at {quantiles}:", *lines, sep="\n")
    print("\n".join(broken) or "within bounds", file=sys.stderr)
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
