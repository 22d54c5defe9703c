# SPDX-License-Identifier: MIT
"""What every room has: the row of rooms with its state, a question line, its keys, its help."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal
from textual.content import Content
from textual.events import Resize
from textual.message import Message
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Input, Static

from sagline.tui.page import Page
from sagline.tui.widgets.keys import key_lines

ROOMS = (("1", "Bench"), ("2", "Drawer"), ("3", "Logbook"))
"""The key and the name of each room."""

TOO_SMALL = "The window is too small: needs 60x20; q quits."
ASKING = ("Enter take it", "Esc leave it")

Key = tuple[str, str, str]
"""An action, the key that does it as it is shown, and the word for it."""


class Room(Screen[None]):
    """One room. `NAME` is one of ROOMS; `KEYS` are its own; `HELP_LINES` is its page.

    A key is shown where `check_action` lets its action be.
    """

    NAME: ClassVar[str]
    KEYS: ClassVar[Sequence[Key]]
    HELP_LINES: ClassVar[Sequence[str]]
    COMMON_KEYS: ClassVar[Sequence[Key]] = (("help", "?", "help"), ("app.quit", "q", "quit"))

    BINDINGS = [  # noqa: RUF012 - so declared by Textual
        Binding("question_mark,f1", "help", "help"),
        Binding("escape", "no_answer", "leave the question"),
    ]

    AUTO_FOCUS = ""
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (60, "-wide")]  # noqa: RUF012
    VERTICAL_BREAKPOINTS = [(0, "-low"), (20, "-high"), (32, "-tall")]  # noqa: RUF012

    class StateChanged(Message):
        """The room's state is another word."""

    def __init__(self) -> None:
        super().__init__()
        self.state = ""
        self._said: dict[str, str | Content] = {}
        self._then: Callable[[str], object] | None = None

    def compose(self) -> ComposeResult:
        with Horizontal(id="top"):
            yield Static(rooms_line(self.NAME), id="rooms")
            yield Static("", id="elsewhere", markup=False)
            yield Static("", id="state")
        yield from self.contents()
        with Horizontal(id="question"):
            yield Static("", id="asked", markup=False)
            yield Input(id="answer", compact=True, select_on_focus=False)
        yield Static("", id="keys", markup=False)
        yield Static(TOO_SMALL, id="too-small", markup=False)

    def contents(self) -> Iterable[Widget]:
        """Yield what stands between the row of rooms and the keys."""
        raise NotImplementedError

    @property
    def shown_keys(self) -> list[Key]:
        """The keys that do something now."""
        return [key for key in (*self.KEYS, *self.COMMON_KEYS) if self.check_action(key[0], ())]

    @property
    def is_asking(self) -> bool:
        """Whether a question stands at the bottom."""
        return self._then is not None

    def ask(self, question: str, value: str, then: Callable[[str], object]) -> None:
        """Ask for a line of text, `value` being there already; `then` is called with it."""
        self._then = then
        self.query_one("#asked", Static).update(f"{question}:")
        answer = self.query_one("#answer", Input)
        answer.value = value
        answer.cursor_position = len(value)
        self.add_class("-asking")
        answer.focus()
        self.show_keys()

    def action_no_answer(self) -> None:
        """Take the question away unanswered."""
        self._then = None
        self.remove_class("-asking")
        self.query_one("#answer", Input).blur()
        self.focus_again()
        self.show_keys()

    def focus_again(self) -> None:
        """Give the focus to whatever of the room has it where nothing is asked."""

    @on(Input.Submitted, "#answer")
    def _answered(self, message: Input.Submitted) -> None:
        then = self._then
        self.action_no_answer()
        if then is not None:
            then(message.value)

    def action_help(self) -> None:
        """Show what is on the screen and what the keys do."""
        self.app.push_screen(Page(f"Help: {self.NAME}", self.HELP_LINES))

    def show_state(self, word: str, phase: str = "") -> None:
        """Say in one word what the room is doing, and behind it more of it."""
        if word != self.state:
            self.remove_class(_class_of(self.state))
            self.add_class(_class_of(word))
            self.state = word
            self.post_message(self.StateChanged())
        self.show_keys()
        shown = Content(word).stylize("bold")
        self.say("#state", Content.assemble(shown, f": {phase}") if phase else shown)

    def show_elsewhere(self, words: str) -> None:
        """Say what goes on at the rig in another room."""
        if self.is_mounted:
            self.say("#elsewhere", words)

    def show_words(self, *lines: str) -> None:
        """Write what there is to say below."""
        self.say("#words", "\n".join(line for line in lines if line))

    def show_fault(self, fault: Exception) -> None:
        """Say that something went wrong that is a fault of ours."""
        if self.is_mounted:
            self.show_words(
                f"Something in sagline went wrong: {type(fault).__name__}: {fault}.",
                "Leave with q and the details are saved in a file.",
            )

    def show_keys(self) -> None:
        """Show the keys that do something now."""
        keys = ASKING if self.is_asking else [f"{key} {word}" for _, key, word in self.shown_keys]
        width = self.query_one("#keys").content_region.width or self.size.width
        self.say("#keys", "\n".join(key_lines(keys, width)))

    @on(Resize)
    def _resized(self) -> None:
        self.call_after_refresh(self.show_keys)

    def say(self, where: str, text: str | Content) -> None:
        """Write `text` into the place `where`; the same again costs nothing."""
        if self._said.get(where) != text:
            self._said[where] = text
            self.query_one(where, Static).update(text)


def rooms_line(here: str) -> Content:
    """Return the row of rooms with their keys; the one that is shown stands in brackets."""
    parts = [
        Content(f"[{key} {name}]").stylize("bold") if name == here else Content(f" {key} {name} ")
        for key, name in ROOMS
    ]
    return Content(" ").join(parts)


def _class_of(state: str) -> str:
    return f"-{state.replace(' ', '-')}"
