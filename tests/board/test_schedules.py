# SPDX-License-Identifier: MIT
"""No random schedule leaves a load on past its limit; a guard that is taken out is missed."""

from collections.abc import Callable

import pytest

from board import schedules
from board.schedules import Switches, run
from sagline_board import faults
from sagline_board.commands import RUNNING
from sagline_board.engine import IDLE_US, ONE_SHOT_MARGIN_US, Engine
from sagline_board.guard import Guard

SCHEDULES = 600


def outcomes() -> list[schedules.Outcome]:
    return [run(number) for number in range(SCHEDULES)]


def test_no_load_is_on_past_its_limit_or_at_the_end() -> None:
    found = outcomes()
    assert [one for one in found if one.wrong] == []
    # They do switch loads, and some of them hang in a pulse: only the one-shot ends it then.
    assert sum(one.pulses for one in found) > SCHEDULES / 2
    assert max(one.beyond_us for one in found) == ONE_SHOT_MARGIN_US


def _poll_without_a_way_out(self: Engine) -> int:
    self._pass_time()
    if self.state != RUNNING:
        return IDLE_US
    self._run_slice()
    return 0


@pytest.mark.parametrize(
    ("owner", "name", "instead", "seen"),
    [
        (Switches, "settle", lambda _self: None, "is on at the end"),
        (Guard, "refuse", lambda *_: faults.NO_ERROR, "beyond its loads' limits"),
        (Engine, "abort", lambda _self: None, "is on after"),
        (Engine, "poll", _poll_without_a_way_out, "is on after an interrupt"),
        (Engine, "_next_edge_us", lambda _self: None, None),
    ],
    ids=("no one-shot", "no limits", "no abort", "no way out of an interrupt", "sparse samples"),
)
def test_a_guard_that_is_taken_out_is_missed(
    monkeypatch: pytest.MonkeyPatch,
    owner: type,
    name: str,
    instead: Callable[..., object],
    seen: str | None,
) -> None:
    """And what has nothing to do with it is not: the last one."""
    monkeypatch.setattr(owner, name, instead)
    wrong: list[str] = []
    for number in range(SCHEDULES):
        try:
            wrong += run(number).wrong
        except (OSError, RuntimeError, MemoryError):
            wrong.append("an exception came out of the board")
    assert (wrong == []) if seen is None else any(seen in one for one in wrong)


def test_a_number_is_always_the_same_schedule() -> None:
    assert run(7) == run(7)
