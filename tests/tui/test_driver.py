# SPDX-License-Identifier: MIT
"""The rig's thread by itself: its messages are taken in place of the screen."""

from collections.abc import Callable

import pytest
from opened_rigs import OpenedRigs
from screens import FAST, PATIENCE_S
from textual.message import Message

from sagline.device.progress import Finished, RepeatDone, Stepping
from sagline.device.settings import Settings
from sagline.tui import messages
from sagline.tui.driver import Driver
from sagline_board import faults

ON_15_OHM = Settings(load_ohm=15.0, repeats=2)


class Listener:
    """Keeps the messages; `react` is called with each one, in the rig's thread."""

    def __init__(self, react: Callable[["Listener", Message], None], address: str = FAST) -> None:
        self.messages: list[Message] = []
        self._react = react
        self.driver = Driver(address, ON_15_OHM, self.take, start_at_once=True)

    def take(self, message: Message) -> None:
        self.messages.append(message)
        self._react(self, message)

    def run(self) -> None:
        """Run until a reaction asks to quit."""
        self.driver.start()
        self.driver.join(PATIENCE_S)
        assert not self.driver.is_alive()

    def leave(self) -> None:
        """Ask to quit, from within the rig's thread."""
        self.driver._quit_asked.set()
        self.driver._wake.set()

    def kinds(self) -> list[type[Message]]:
        return [type(message) for message in self.messages]


def is_load_on(message: Message) -> bool:
    if not isinstance(message, messages.Advanced):
        return False
    return isinstance(message.item, Stepping) and message.item.phase == "load on"


def is_finished(message: Message) -> bool:
    return isinstance(message, messages.Advanced) and isinstance(message.item, Finished)


def test_stop_turns_the_load_off_within_0_3_s(opened: OpenedRigs) -> None:
    masks: list[int] = []
    at_s: list[float] = []

    def react(listener: Listener, message: Message) -> None:
        if is_load_on(message) and not masks:
            masks.append(opened.gate_mask())
            at_s.append(opened[-1].now_s())
            listener.driver.stop()
        elif isinstance(message, messages.StoppedByUser):
            masks.append(opened.gate_mask())
            at_s.append(opened[-1].now_s())
            listener.leave()

    listener = Listener(react)
    listener.run()
    assert masks[0] != 0, "the load must have been on, or nothing is shown"
    assert masks[1:] == [0]
    assert at_s[1] - at_s[0] < 0.3
    assert not any(is_finished(message) for message in listener.messages)


def test_quit_in_the_middle_turns_the_load_off_and_closes_the_rig(opened: OpenedRigs) -> None:
    masks: list[int] = []

    def react(listener: Listener, message: Message) -> None:
        if is_load_on(message):
            masks.append(opened.gate_mask())
            listener.leave()

    Listener(react).run()
    assert masks[0] != 0
    assert opened.gate_mask() == 0
    assert not opened.port().is_open


def test_a_rig_that_cannot_be_opened_is_not_tried_again_by_itself(opened: OpenedRigs) -> None:
    def react(listener: Listener, message: Message) -> None:
        if isinstance(message, messages.Failed):
            assert not listener.driver._start_asked.is_set()
            listener.leave()

    listener = Listener(react, "virtual://no-such-cell")
    listener.run()
    assert listener.kinds() == [messages.Opening, messages.Failed]
    assert not opened


def test_a_lost_rig_is_opened_again(opened: OpenedRigs) -> None:
    def react(listener: Listener, message: Message) -> None:
        if is_load_on(message) and len(opened) == 1:
            opened.port().is_open = False
        elif isinstance(message, messages.Failed):
            assert "went away" in message.text and message.remedy and message.fault is None
            listener.driver.measure()
        elif is_finished(message):
            listener.leave()

    listener = Listener(react)
    listener.run()
    assert len(opened) == 2
    assert listener.kinds().count(messages.Opening) == 2
    assert listener.kinds().count(messages.Failed) == 1


def test_a_refusal_keeps_the_rig_and_the_live_voltage(
    opened: OpenedRigs, monkeypatch: pytest.MonkeyPatch
) -> None:
    from sagline.device import admission

    # No cell can be taken out here: what would be there is declared to be too little.
    monkeypatch.setattr(admission, "ABSENT_V", 100.0)

    def react(listener: Listener, message: Message) -> None:
        if isinstance(message, messages.LiveVoltage):
            listener.leave()

    listener = Listener(react)
    listener.run()
    failed = next(m for m in listener.messages if isinstance(m, messages.Failed))
    assert failed.text.startswith("No cell") and failed.remedy
    assert len(opened) == 1
    assert listener.kinds()[-1] is messages.LiveVoltage


def test_idle_reads_the_voltage_and_measures_when_asked(opened: OpenedRigs) -> None:
    def react(listener: Listener, message: Message) -> None:
        if isinstance(message, messages.LiveVoltage):
            assert 1.4 < message.terminal_v < 1.7
            if listener.kinds().count(messages.LiveVoltage) == 2:
                listener.driver.measure()
        elif is_finished(message):
            listener.leave()

    listener = Listener(react)
    listener.driver._start_asked.clear()
    listener.run()
    kinds = listener.kinds()
    assert kinds[:2] == [messages.Opening, messages.RigOpened]
    assert kinds.index(messages.LiveVoltage) < kinds.index(messages.Started)
    repeats = [
        m.item.repeat
        for m in listener.messages
        if isinstance(m, messages.Advanced) and isinstance(m.item, RepeatDone)
    ]
    assert repeats == [1, 2]


def test_s_after_a_trip_was_shown_clears_it(opened: OpenedRigs) -> None:
    def react(listener: Listener, message: Message) -> None:
        if isinstance(message, messages.RigOpened):
            opened.port().board.engine.guard.trip(faults.TRIP_OVER_CURRENT)
        elif isinstance(message, messages.Failed):
            listener.driver.measure()
        elif is_finished(message):
            listener.leave()

    listener = Listener(react)
    listener.run()
    failed = [m for m in listener.messages if isinstance(m, messages.Failed)]
    assert len(failed) == 1
    assert "guard has tripped" in failed[0].text
