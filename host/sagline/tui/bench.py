# SPDX-License-Identifier: MIT
"""Bench: one cell, the equation filling with its numbers beside the step being drawn."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widgets import Static

from sagline import wording
from sagline.analysis.values import Estimate
from sagline.device.progress import (
    Cooling,
    Extended,
    Finished,
    LongerRest,
    OpenVoltage,
    Planned,
    Probing,
    Progress,
    RepeatDone,
    Stepping,
    describe,
)
from sagline.tui import messages
from sagline.tui.benchkeys import (
    DONE,
    LENT,
    MEASURING,
    OPENING,
    READY,
    STARTING,
    STOPPED,
    BenchKeys,
)
from sagline.tui.lesson import KEPT_BACK
from sagline.tui.widgets.axes import step_curve
from sagline.tui.widgets.step_plot import StepPlot
from sagline.wording import Working

if TYPE_CHECKING:
    from sagline.results import Result

NO_STEP = "No repeat yet."


def _terminal_voltage(now_v: float | None) -> str:
    return f"Terminal voltage  {wording.volts(now_v)}  now"


class Bench(BenchKeys):
    """The room of one rig and the cell on it. `state` is one of the words of its keys."""

    def contents(self) -> ComposeResult:
        """Yield what the room shows."""
        with Horizontal(id="now"):
            yield Static("", id="live", markup=False)
            yield Static("", id="clock", markup=False)
        yield Static("", id="rig", markup=False)
        with Horizontal(id="middle"):
            with Vertical(id="left"):
                yield Static("", id="equation", markup=False)
                yield Static("", id="basis", markup=False)
                yield Static("", id="letters", markup=False)
                with VerticalScroll(id="repeats", can_focus=False):
                    yield Static("", id="rows", markup=False)
                yield Static("", id="bars", markup=False)
            yield StepPlot(id="step")
        with VerticalScroll(id="outcome", can_focus=False):
            yield Static("", id="words", markup=False)

    def on_mount(self) -> None:
        """Show the equation in letters before anything is known."""
        self.show_state(OPENING, "")
        self.say("#live", _terminal_voltage(None))
        self._blank(planned=0)

    @on(messages.Opening)
    def _opening(self, message: messages.Opening) -> None:
        self.show_state(OPENING, "")
        self.say("#rig", message.address)
        self.say("#words", "Opening the rig.")

    @on(messages.RigOpened)
    def _opened(self, message: messages.RigOpened) -> None:
        kind = "simulated rig" if message.simulated else "rig"
        self.say("#rig", f"On the {kind} {message.name}")
        if message.starting:
            self.show_state(STARTING, "")
            self.say("#words", "")
        else:
            self.show_state(READY, "press s to measure")
            self.say("#words", "Put a cell between the clips, then press s.")

    @on(messages.RigLent)
    def _lent(self) -> None:
        self.show_state(LENT, "the Drawer has the rig")
        self.say("#live", _terminal_voltage(None))

    @on(messages.RigBack)
    def _back(self) -> None:
        self.show_state(READY, "press s to measure")

    @on(messages.LiveVoltage)
    def _live(self, message: messages.LiveVoltage) -> None:
        self.say("#live", _terminal_voltage(message.terminal_v))

    @on(messages.Started)
    def _started(self, message: messages.Started) -> None:
        self._time_s = message.t_s
        self.notes = []
        self._result = None
        if self._lesson is not None:
            self._lesson.owed = None
        self.say("#bars", "")
        self.show_state(MEASURING, "open voltage")
        self.say("#words", "")
        self._blank(planned=message.repeats)

    @on(messages.Advanced)
    def _advanced(self, message: messages.Advanced) -> None:
        self._advance(message.item)

    @on(messages.StoppedByUser)
    def _stopped(self) -> None:
        self.show_state(STOPPED, "the load is off")
        self.say("#clock", "")
        self.say("#words", "Stopped by you; the load is off. Press s to measure again.")

    @on(messages.NotKept)
    def _not_kept(self, message: messages.NotKept) -> None:
        self.show_state(DONE, "not kept in the log: press n")
        self.notes = [message.text, f"  {message.remedy}", "", *self.notes]

    @on(messages.Failed)
    def _failed(self, message: messages.Failed) -> None:
        self.show_state(STOPPED, "press s to try again")
        self.say("#clock", "")
        self.notes = [message.text, "", message.remedy]
        self.say("#words", f"{message.text}\n{message.remedy}")

    def _advance(self, item: Progress) -> None:
        match item:
            case OpenVoltage(open_v):
                self.say("#live", _terminal_voltage(open_v))
                self._fill(open_v, None, None, None)
            case Probing(load_ohm):
                self.say("#words", f"An unknown cell: first a short look on {load_ohm:g} Ω.")
            case Planned(plan, _, advice):
                self.notes = wording.notice_lines(advice)
                said = (line for notice in advice for line in (notice.text, notice.remedy))
                self.say("#words", "\n".join((wording.plan_sentence(plan), *said)))
            case Cooling() | Extended() | LongerRest():
                self.say("#words", describe(item))
            case Stepping(repeat, repeats, phase, elapsed_s, total_s, terminal_v):
                self.say("#live", _terminal_voltage(terminal_v))
                which = f"repeat {repeat} of {repeats}" if repeat else "a first look"
                if self.state == MEASURING:
                    self.show_state(MEASURING, f"{which}, {phase}")
                self.say("#clock", f"{elapsed_s:.1f} of {total_s:.1f} s")
            case RepeatDone():
                self._repeat_done(item)
            case Finished(result):
                self._finished(result)

    def _finished(self, result: Result) -> None:
        self.say("#clock", "")
        given = None if self._lesson is None else self._lesson.take(result)
        if given is None:
            self._reveal(result)
            return
        self.say("#basis", "")
        self.show_words(*given, KEPT_BACK)
        self.show_state(DONE, "work r out, then press a")

    def _reveal(self, result: Result) -> None:
        from sagline.working import r_bars

        self._result = result
        current_a = None if result.current_a is None else result.current_a.value
        means = Working.of(result.terminal, current_a)
        if means is not None:
            self._fill(means.open_v, means.loaded_v, means.current_a, means.r_ohm, means.repeats)
        rows = wording.repeat_lines(result.repeats, len(result.repeats), self._time_s)
        self.say("#rows", "\n".join(rows))
        self.say("#basis", f"from {wording.kept_of(result.repeats)}")
        width = self.query_one("#left").content_region.width
        self.say("#bars", "\n".join(r_bars(result, width)))
        self.notes = wording.note_page(result)
        pointer = f"{wording.count(result.warnings, 'note')} with these figures: press n"
        self.show_words(*wording.result_lines(result), pointer)
        self.show_state(DONE, "press s to measure again")

    def _repeat_done(self, item: RepeatDone) -> None:
        found: Estimate = item.estimate
        means = Working.of(item.terminal, found.current.value)
        marks_v: tuple[tuple[float, str], ...] = ()
        kept_back = self._lesson is not None
        if means is not None:
            r_ohm = None if kept_back else means.r_ohm
            self._fill(means.open_v, means.loaded_v, means.current_a, r_ohm, means.repeats)
            marks_v = ((means.open_v, "E"), (means.loaded_v, "V"))
        self.say("#basis", f"provisional, repeat {item.repeat} of {item.repeats}")
        # What is known of the figures tells of the figures.
        self.notes = [KEPT_BACK] if kept_back else wording.notice_lines(found.notices)
        if not kept_back:
            rows = wording.repeat_lines(found.repeats, item.repeats, self._time_s)
            self.say("#rows", "\n".join(rows))
        self.query_one("#repeats", VerticalScroll).scroll_to(
            y=item.repeat, animate=False, immediate=True
        )
        self.query_one(StepPlot).show(
            step_curve(
                item.waveform.t_s.tolist(),
                item.waveform.sense_v.tolist(),
                number=item.repeat,
                on_s=found.on_s,
                read_s=self._time_s,
                marks_v=marks_v,
            )
        )

    def _fill(
        self,
        open_v: float | None,
        loaded_v: float | None,
        current_a: float | None,
        r_ohm: float | None,
        repeats: int = 1,
    ) -> None:
        equation = wording.equation_lines(self._time_s, open_v, loaded_v, current_a, r_ohm)
        letters = wording.letter_lines(self._time_s, open_v, loaded_v, current_a, repeats)
        self.say("#equation", "\n".join(equation))
        self.say("#letters", "\n".join(letters))

    def _blank(self, planned: int) -> None:
        self._fill(None, None, None, None)
        self.say("#basis", "")
        self.say("#rows", "\n".join(wording.repeat_lines((), planned, self._time_s)))
        self.query_one(StepPlot).clear(NO_STEP)
