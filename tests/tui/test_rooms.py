# SPDX-License-Identifier: MIT
"""The rooms together: reached by a key and by name, and nothing of a measurement lost by it."""

from threading import Event

import pytest
from opened_rigs import OpenedRigs
from screens import FAST, PATIENCE_S, run, screen_text, until, until_state

from sagline.device import procedure
from sagline.log.choice import usual_log
from sagline.log.listing import Filters, list_runs
from sagline.log.store import Log
from sagline.tui.app import SaglineApp
from sagline.tui.bench import Bench
from sagline.tui.room import ROOMS
from terminal import Terminal

SIZES = [(80, 24), (120, 40)]

# A program whose screen breaks as soon as a load is on.
CRASHING = """
import sys
from sagline import cli
from sagline.device.progress import Stepping
from sagline.tui.bench import Bench

def broken(self, item, real=Bench._advance):
    if isinstance(item, Stepping) and item.phase == "load on":
        raise ZeroDivisionError("a screen that breaks")
    real(self, item)

Bench._advance = broken
sys.exit(cli.main(["demo"]))
"""


class Held:
    """A measurement that waits where its load is on, until it is let go."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.load_on, self.go_on = Event(), Event()
        real = procedure.run

        def held(rig, settings):
            for item in real(rig, settings):
                yield item
                if getattr(item, "phase", "") == "load on" and not self.load_on.is_set():
                    self.load_on.set()
                    self.go_on.wait(PATIENCE_S)

        monkeypatch.setattr(procedure, "run", held)


def first_row(app: SaglineApp) -> str:
    return screen_text(app).split("\n")[0]


@pytest.mark.parametrize("size", SIZES)
def test_each_room_is_reached_by_its_key_and_says_where_one_is(size: tuple[int, int]) -> None:
    async def steps() -> None:
        app = SaglineApp(FAST)
        async with app.run_test(size=size) as pilot:
            for key, name in (*ROOMS, *ROOMS):
                await pilot.press(key)
                await until(pilot, lambda here=f"[{key} {name}]": here in first_row(app))
                others = [one for one in ROOMS if one != (key, name)]
                assert all(f" {k} {n} " in f"{first_row(app)} " for k, n in others)
                assert all(len(line) <= size[0] for line in screen_text(app).split("\n"))
                assert "? help   q quit" in screen_text(app).split("\n")[-1]
            await pilot.press("q")
        assert app.return_code == 0

    run(steps())


@pytest.mark.parametrize("name", [name for _, name in ROOMS])
def test_rooms_and_what_they_can_do_are_chosen_by_name(name: str) -> None:
    async def steps() -> None:
        app = SaglineApp(FAST)
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("3" if name == "Bench" else "1", "ctrl+p")
            await until(pilot, lambda: f"Go to {name}" in screen_text(app) or name == "Bench")
            await pilot.press(*f"go to {name.lower()}")
            await until(pilot, lambda: f"Go to {name}" in screen_text(app))
            await pilot.press("enter")
            await until(pilot, lambda: f" {name}]" in first_row(app))
            await pilot.press("ctrl+p", *"help")
            await until(pilot, lambda: "Key ?" in screen_text(app))
            await pilot.press("enter")
            await until(pilot, lambda: f"Help: {name}" in first_row(app))

    run(steps())


@pytest.mark.parametrize("key", ["question_mark", "f1"])
@pytest.mark.parametrize(("room", "name"), ROOMS)
def test_each_room_has_its_help(room: str, name: str, key: str) -> None:
    async def steps() -> None:
        app = SaglineApp(FAST)
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press(room)
            await until(pilot, lambda: f"[{room} {name}]" in first_row(app))
            keys = [f"{key}" for _, key, _ in app._rooms[name].KEYS]
            await pilot.press(key)
            await until(pilot, lambda: f"Help: {name}" in first_row(app))
            # Every key of the room has its line there.
            said = [line.split()[0] for line in app._rooms[name].HELP_LINES if line[:1].strip()]
            assert set(keys) <= set(said)
            await pilot.press(key)
            await until(pilot, lambda: f"[{room} {name}]" in first_row(app))

    run(steps())


def test_a_measurement_goes_on_in_another_room(
    opened: OpenedRigs, monkeypatch: pytest.MonkeyPatch
) -> None:
    held = Held(monkeypatch)

    async def steps() -> None:
        app = SaglineApp(FAST)
        async with app.run_test(size=(80, 24)) as pilot:
            await until_state(pilot, app, "ready")
            await pilot.press("s")
            await until(pilot, held.load_on.is_set)
            await pilot.press("3")
            await until(pilot, lambda: "Bench is measuring" in first_row(app))
            assert "[3 Logbook]" in first_row(app)
            held.go_on.set()
            await until_state(pilot, app, "done", "stopped")
            await until(pilot, lambda: "Bench is measuring" not in first_row(app))
            await pilot.press("1")
            await until(pilot, lambda: "done" in first_row(app))
            assert "±" in screen_text(app)
            await pilot.press("q")
        assert app.return_code == 0 and opened.gate_mask() == 0
        with Log(usual_log(demo=True)) as log:
            assert [row.state for row in list_runs(log, Filters())] == ["complete"]

    run(steps())


def test_leaving_from_another_room_in_mid_measurement_turns_the_load_off(
    opened: OpenedRigs, monkeypatch: pytest.MonkeyPatch
) -> None:
    held = Held(monkeypatch)

    async def steps() -> None:
        app = SaglineApp(FAST, autostart=True)
        async with app.run_test(size=(80, 24)) as pilot:
            await until(pilot, held.load_on.is_set)
            assert opened.gate_mask() != 0
            await pilot.press("3")
            held.go_on.set()
            await pilot.press("q")
        assert app.return_code == 130 and app.closed
        assert opened.gate_mask() == 0 and not opened.port().is_open

    run(steps())


def test_where_somebody_writes_a_letter_is_a_letter() -> None:
    async def steps() -> None:
        app = SaglineApp(FAST)
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("3", "slash")
            await until(pilot, lambda: "Words in label" in screen_text(app))
            await pilot.press(*"q1?")
            await until(pilot, lambda: "(none: all): q1?" in screen_text(app))
            assert "Enter take it   Esc leave it" in screen_text(app).split("\n")[-1]
            await pilot.press("escape", "1")
            await until(pilot, lambda: "[1 Bench]" in first_row(app))
            assert app.is_running

    run(steps())


def test_a_screen_that_breaks_leaves_terminal_and_load_as_they_should_be(
    opened: OpenedRigs, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Terminal(whole=True, script=CRASHING) as terminal:
        assert terminal.ended() == 1
        assert terminal.settings() == terminal.before
    # Out of the alternate screen, cursor shown (xterm's control sequences, DEC private modes).
    for switched_on, switched_off in (("?1049h", "?1049l"), ("?25l", "?25h"), ("?1003h", "?1003l")):
        assert terminal.shown.rindex(switched_on) < terminal.shown.rindex(switched_off)
    said = terminal.shown[terminal.shown.rindex("?1049l") :]
    assert "ZeroDivisionError: a screen that breaks" in said and "Traceback" not in said

    masks: list[int] = []
    real = Bench._advance

    def broken(self, item):
        if getattr(item, "phase", "") == "load on":
            masks.append(opened.gate_mask())
            raise ZeroDivisionError("a screen that breaks")
        real(self, item)

    monkeypatch.setattr(Bench, "_advance", broken)
    apps: list[SaglineApp] = []

    async def steps() -> None:
        app = SaglineApp(f"{FAST}&pace=real", autostart=True)
        apps.append(app)
        async with app.run_test(size=(80, 24)) as pilot:
            await until(pilot, lambda: bool(masks))

    with pytest.raises(ZeroDivisionError):
        run(steps())
    assert masks[0] != 0, "the load must have been on, or nothing is shown"
    assert opened.gate_mask() == 0 and not opened.port().is_open
    assert isinstance(apps[0].fault, ZeroDivisionError) and apps[0].return_code == 1
