# SPDX-License-Identifier: MIT
"""`sagline drawer measure`: cells put in one after the other, told of line by line."""

import argparse
import json
import sys
import threading
import time
from typing import TYPE_CHECKING, Any

from sagline.verbs.common import add_log, add_rig
from sagline.verbs.drawer.common import add_verb
from sagline.verbs.progressline import ProgressLine

if TYPE_CHECKING:
    from sagline.drawer.news import Inbox, News

BELL = "\a"
# Between two looks, beside what the rig itself takes for one.
IDLE_S = 0.02


def add(verbs: Any) -> None:
    """Declare the verb."""
    from sagline.drawer.verbwords import VERBS

    parser = add_verb(
        verbs,
        "measure",
        "measure cells one after the other",
        "Measure cells one after the other. Each is measured as soon as it makes contact, under "
        "the label that was told before; one outside its designation's voltages is asked about "
        "before any load. The hands of a simulated rig put in its tray's cells.",
    )
    parser.epilog = "a line of standard input says: " + "; ".join(
        f"{verb}: {meaning}" for verb, meaning in VERBS.items()
    )
    add_rig(parser)
    parser.add_argument("--name", help="the drawer's name (default: that of the moment)")
    parser.add_argument("--resume", metavar="NAME", help="go on with this drawer")
    parser.add_argument("--first-label", metavar="LABEL", help="the first cell's (default 1)")
    parser.add_argument("--designation", help="what is printed on the cells, e.g. LR6")
    parser.add_argument("--load", type=float, metavar="OHM", help="the load (default: chosen)")
    parser.add_argument("--temperature", type=float, metavar="C", help="the cells', in °C")
    parser.add_argument("--operator", metavar="NAME", help="who measures")
    parser.add_argument("--bell", action="store_true", help="ring when a cell may be taken out")
    add_log(parser, "keep the runs in this log (default: the usual one; simulated: the demo log)")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Measure until told to end. Returns 5 where a result could not be kept."""
    from sagline.config import load_config
    from sagline.device.rig import open_rig
    from sagline.drawer.beginning import Ask, begin, figures_in, references_for
    from sagline.drawer.byhands import hands_at
    from sagline.drawer.news import Inbox, Unkept
    from sagline.drawer.station import Station
    from sagline.errors import NotStored
    from sagline.rigs import resolve

    config = load_config()
    ask = _ask(args, Ask, config.operator)
    inbox = Inbox()
    unkept: Unkept | None = None
    with ProgressLine() as line, open_rig(resolve(args.rig, config)) as rig:
        found = begin(rig, ask)
        talk = _Talk(line, args.json, args.bell, found.name, _Input(inbox))
        station = Station(
            rig,
            found,
            inbox,
            figures_in(found),
            references_for(found),
            idle=lambda: time.sleep(IDLE_S),
        )
        hands = hands_at(rig, inbox)
        items = station.run()
        try:
            for news in items:
                talk.tell(news)
                if isinstance(news, Unkept):
                    unkept = news
                if hands is not None:
                    hands.see(news)
        finally:
            items.close()
    if not args.json:
        print(f"Drawer {found.name}. See it with: sagline drawer show --drawer {found.name}")
    if unkept is not None:
        raise NotStored("not_stored", unkept.text, unkept.remedy)
    return 0


def _ask(args: argparse.Namespace, kind: Any, operator: str | None) -> Any:
    from sagline.errors import UsageError

    new = (args.name, args.first_label, args.designation, args.load, args.temperature, args.log)
    if args.resume is not None:
        if any(one is not None for one in new):
            raise UsageError(
                "resume_and_new",
                "--resume goes on with a drawer as it was begun.",
                "Leave the other options out, or begin another drawer.",
            )
        return kind(resume=args.resume)
    return kind(
        name=args.name,
        first_label=args.first_label or "1",
        designation=args.designation,
        load_ohm=args.load,
        temperature_c=args.temperature,
        operator=operator if args.operator is None else args.operator,
        log=args.log,
    )


class _Input:
    """Lines of standard input on their way to the drawer. `ended`: no more will come."""

    def __init__(self, inbox: "Inbox") -> None:
        self._inbox = inbox
        self.ended = False
        self.wrong: list[str] = []
        # A daemon: nobody waits for a line that never comes.
        threading.Thread(target=self._read, daemon=True).start()

    def skip(self) -> None:
        """Leave the cell out that nobody can say anything about."""
        self._inbox.put("skip")

    def _read(self) -> None:
        for line in sys.stdin:
            verb, _, value = line.strip().partition(" ")
            if not verb:
                continue
            try:
                self._inbox.put(verb.lower(), value.strip())
            except KeyError:
                self.wrong.append(verb)
        self.ended = True


class _Talk:
    """Says what happens: rows and questions on standard output, progress on standard error."""

    def __init__(
        self, line: ProgressLine, as_json: bool, bell: bool, name: str, words: _Input
    ) -> None:
        self._line = line
        self._as_json = as_json
        self._bell = bell
        self._input = words
        self._shown: dict[str, Any] = {}
        self._pausing = False
        self._say({"drawer": name}, f"Drawer {name}. Ctrl-C ends; --resume {name} goes on.")

    def tell(self, news: "News") -> None:
        """Say one item, where there is something to say."""
        from sagline.device.progress import describe
        from sagline.drawer import news as kinds
        from sagline.drawer import words

        while self._input.wrong:
            verb = self._input.wrong.pop(0)
            known = ", ".join(kinds.VERBS)
            self._say({"answer": f"no {verb!r}"}, f"There is no {verb!r}; there are {known}.")
        match news:
            case kinds.Rows():
                self._rows(news)
            case kinds.PutIn(label, again):
                said = {"put_in": {"label": label, "again": again}}
                self._say(said, words.put_in_words(label, again=again))
            case kinds.Trouble(reason, remedy):
                said = {"trouble": {"reason": reason, "remedy": remedy}}
                self._say(said, f"  {reason} {remedy}")
            case kinds.Paused(label, doubt):
                self._pausing = True
                said = {"paused": {"label": label, "code": doubt.code, "reason": doubt.reason,
                                   "remedy": doubt.remedy, "may_go": doubt.may_go}}  # fmt: skip
                choices = "go, skip, or cell NAME" if doubt.may_go else "skip, or cell NAME"
                self._say(said, f"{label} is not loaded yet: {doubt.reason} {doubt.remedy}\n"
                                f"  Say {choices}, or take it out.")  # fmt: skip
            case kinds.Reading() if self._pausing and self._input.ended:
                self._pausing = False
                self._input.skip()
            case kinds.Measuring(label, item):
                self._pausing = False
                self._line.show(f"{label}: {describe(item)}")
            case kinds.TakeOut(label):
                self._say({"take_out": label}, f"  Take {label} out.")
                if self._bell and sys.stderr.isatty():
                    self._line.keep([BELL])
            case kinds.Answer(text, remedy) | kinds.Unkept(text, remedy):
                self._say({"answer": text, "remedy": remedy}, f"{text} {remedy}".rstrip())
            case _:
                pass

    def _rows(self, news: Any) -> None:
        """Say the rows that are new or have changed."""
        from sagline.drawer import words
        from sagline.drawer.table import rows_of

        rows = rows_of(news.drawer, news.figures, news.references)
        for row in rows:
            if self._shown.get(row.label) != row:
                if not self._shown and not self._as_json:
                    print(words.HEADING)
                self._shown[row.label] = row
                details = "".join(f"\n  {line}" for line in words.row_details(row))
                self._say({"row": words.row_document(row)}, words.row_line(row) + details)
        left = {row.label for row in rows}
        self._shown = {label: row for label, row in self._shown.items() if label in left}

    def _say(self, document: dict[str, Any], text: str) -> None:
        self._line.keep([])
        print(json.dumps(document) if self._as_json else text, flush=True)
