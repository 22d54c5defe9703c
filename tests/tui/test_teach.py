# SPDX-License-Identifier: MIT
"""Bench as an exercise: r is nowhere on the screen before the student has given theirs."""

import re

import pytest
from screens import FAST, run, screen_text, until, until_state

from sagline.device import procedure
from sagline.device.rig import open_rig
from sagline.device.settings import Settings
from sagline.results import Result
from sagline.tui.app import SaglineApp

LINE = Settings(repeats=2, line=True)


@pytest.fixture(scope="module")
def truth() -> Result:
    """What the same rig measures: one seed, one result."""
    with open_rig(FAST) as rig:
        return procedure.measure(rig, Settings())


def words(app: SaglineApp) -> str:
    return " ".join(screen_text(app).split())


async def answer(pilot, app: SaglineApp, question: str, text: str) -> None:
    await until(pilot, lambda: f"{question}:" in screen_text(app))
    await pilot.press(*text, "enter")


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
@pytest.mark.parametrize(("wrong_by", "word"), [(1.0, "agrees"), (1.5, "differs"), (1e3, "mill")])
def test_r_is_kept_back_until_an_answer_is_given(
    truth: Result, size: tuple[int, int], wrong_by: float, word: str
) -> None:
    r_ohm = truth.r_ohm.value
    known = {f"{r_ohm:.4f}", *(f"{row.r_ohm:.4f}" for row in truth.repeats)}

    async def steps() -> None:
        app = SaglineApp(FAST, autostart=True, teach=True)
        async with app.run_test(size=size) as pilot:
            await until_state(pilot, app, "done", "stopped")
            shown = screen_text(app)
            assert "V_open" in shown and "R_x" in shown and "a your answer" in shown
            # Neither figure nor working nor budget tells it, nor the notes, nor the log.
            assert not [figure for figure in known if figure in shown]
            assert "w working" not in shown and "b budget" not in shown
            await pilot.press("w", "b", "n")
            await until(pilot, lambda: "Kept back" in screen_text(app))
            assert not [figure for figure in known if figure in screen_text(app)]
            await pilot.press("escape", "3")
            await until(pilot, lambda: "The Logbook tells r" in screen_text(app))
            await pilot.press("a")
            await answer(pilot, app, "Your r in Ω", "much")
            await until(pilot, lambda: "is no number" in screen_text(app))
            assert app.bench.owes_answer
            await pilot.press("a")
            await answer(pilot, app, "Your r in Ω", f"{r_ohm * wrong_by:.4g}")
            await until(pilot, lambda: word in words(app))
            assert f"{r_ohm:.4f} Ω ±" in screen_text(app)
            await until(pilot, lambda: "w working" in screen_text(app))
            await pilot.press("3")
            await until(pilot, lambda: "[3 Logbook]" in screen_text(app))
            await pilot.press("q")
        assert app.return_code == 0

    run(steps())


def test_e_of_a_line_is_asked_for_too() -> None:
    with open_rig(FAST) as rig:
        line = procedure.measure(rig, LINE).line
    assert line is not None

    async def steps() -> None:
        app = SaglineApp(FAST, LINE, autostart=True, teach=True)
        async with app.run_test(size=(120, 40)) as pilot:
            await until_state(pilot, app, "done", "stopped")
            assert "the E, in V, at which it meets I = 0" in words(app)
            await pilot.press("a")
            await answer(pilot, app, "Your r in Ω", "0.5")
            await answer(pilot, app, "Your E of the line in V", f"{line.emf_v.value:.3f}")
            await until(pilot, lambda: "your E of the line" in words(app))
            assert re.search(r"differs: your r = 0\.5 Ω", words(app))
            assert "agrees: your E of the line" in words(app)
            await pilot.press("q")

    run(steps())


def test_without_teaching_nothing_is_kept_back_and_the_working_is_shown() -> None:
    async def steps() -> None:
        app = SaglineApp(FAST, autostart=True)
        async with app.run_test(size=(80, 24)) as pilot:
            await until_state(pilot, app, "done", "stopped")
            assert "a your answer" not in screen_text(app)
            await pilot.press("w")
            await until(pilot, lambda: "R_x = V / I" in screen_text(app))
            await pilot.press("escape", "b")
            await until(pilot, lambda: "What u² of r is made of:" in screen_text(app))
            assert "█" in screen_text(app)
            await pilot.press("escape")
            assert "What u² of r is made of:" not in screen_text(app)
            await pilot.resize_terminal(120, 40)
            await until(pilot, lambda: "What u² of r is made of:" in screen_text(app))
            await pilot.press("q")

    run(steps())
