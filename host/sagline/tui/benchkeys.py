# SPDX-License-Identifier: MIT
"""The keys of Bench: what can be asked for, when, and what becomes of it."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from textual.binding import Binding

from sagline.errors import UsageError
from sagline.tui import helps
from sagline.tui.driver import Driver
from sagline.tui.lesson import KEPT_BACK, Lesson
from sagline.tui.page import Page
from sagline.tui.room import Room

if TYPE_CHECKING:
    from sagline.results import Result

OPENING, READY, STARTING, MEASURING, STOPPING, STOPPED, DONE, LENT = (
    "opening", "ready", "starting", "measuring", "stopping", "stopped", "done", "lent",
)  # fmt: skip


class BenchKeys(Room):
    """The keys of the room of one rig. `state` is one of the words above."""

    NAME = "Bench"
    HELP_LINES = helps.BENCH
    KEYS = (
        ("start", "s", "start"), ("stop", "x", "stop"), ("answer", "a", "your answer"),
        ("working", "w", "working"), ("budget", "b", "budget"), ("notes", "n", "notes"),
    )  # fmt: skip

    BINDINGS = [  # noqa: RUF012 - so declared by Textual
        Binding("s", "start", "start"),
        Binding("x", "stop", "stop"),
        Binding("n", "notes", "notes"),
        Binding("a", "answer", "your answer"),
        Binding("w", "working", "working"),
        Binding("b", "budget", "budget"),
    ]

    def __init__(self, driver: Driver | None = None, *, teach: bool = False) -> None:
        """With `teach` a run is an exercise: r and E of a line are for the student to find."""
        super().__init__()
        self.driver = driver
        self.state = OPENING
        self.notes: list[str] = []
        self._time_s = 0.1
        self._lesson = Lesson() if teach else None
        self._result: Result | None = None

    @property
    def is_measuring(self) -> bool:
        """Whether a measurement runs, is about to, or is being stopped."""
        return self.state in (STARTING, MEASURING, STOPPING)

    @property
    def owes_answer(self) -> bool:
        """Whether a result is kept back until the student has given theirs."""
        return self._lesson is not None and self._lesson.owed is not None

    @property
    def busy_words(self) -> str:
        """What other rooms say of this one while it has the rig."""
        return "Bench is measuring" if self.is_measuring else ""

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Whether `action` does anything now; its key is shown only then."""
        if action == "start":
            return self.driver is not None and self.state in (READY, STOPPED, DONE)
        if action == "stop":
            return self.driver is not None and self.state == MEASURING
        if action == "answer":
            return self.owes_answer and not self.is_measuring
        if action in ("working", "budget"):
            return self._result is not None
        return super().check_action(action, parameters)

    def action_start(self) -> None:
        """Measure, once more if need be; a lost rig is opened again."""
        if self.driver is not None:
            # At once, so that a second press of the key is not a second measurement.
            self.show_state(STARTING, "")
            self.driver.measure()

    def action_stop(self) -> None:
        """End the running measurement with the load off."""
        if self.driver is not None:
            self.show_state(STOPPING, "the load goes off")
            self.driver.stop()

    def action_notes(self) -> None:
        """Show what must be known beside the figures."""
        lines = self.notes or ["There are no notes yet: they come with the first repeat."]
        self.app.push_screen(Page("Notes", lines))

    def action_working(self) -> None:
        """Show each equation with its numbers."""
        from sagline.working import working_lines

        if self._result is not None:
            self.app.push_screen(Page("Working", working_lines(self._result)))

    def action_budget(self) -> None:
        """Show what the uncertainties are made of, as bars."""
        from sagline.working import emf_bars, r_bars

        if self._result is not None:
            width = self.query_one("#outcome").content_region.width
            lines = [*r_bars(self._result, width), "", *emf_bars(self._result, width)]
            self.app.push_screen(Page("Budget", lines))

    def action_answer(self) -> None:
        """Ask for the student's r, and for E of the line where there is one."""
        self.ask("Your r in Ω", "", self._r_given)

    def _r_given(self, text: str) -> None:
        if self._lesson is not None and self._lesson.asks_for_emf:
            self.ask("Your E of the line in V", "", partial(self._compare, text))
        else:
            self._compare(text)

    def _compare(self, r_text: str, emf_text: str = "") -> None:
        if self._lesson is None:
            return
        try:
            result, lines = self._lesson.answer(r_text, emf_text)
        except UsageError as error:
            self.show_words(error.message, error.remedy, KEPT_BACK)
            return
        self._reveal(result)
        self.show_words(*lines)

    def _reveal(self, result: Result) -> None:
        """Show the figures of a result, and all that belongs to them."""
        raise NotImplementedError
