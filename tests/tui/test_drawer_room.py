# SPDX-License-Identifier: MIT
"""The Drawer room at a simulated rig whose hands put the tray's cells in."""

import re
from threading import Event

import pytest
from opened_rigs import OpenedRigs
from screens import PATIENCE_S, run, screen_text, until, until_state

from sagline.device.progress import Stepping
from sagline.drawer import journal, station
from sagline.drawer.state import Drawer
from sagline.drawer.station import Station
from sagline.log.choice import usual_log
from sagline.log.listing import Filters, list_runs
from sagline.log.store import Log
from sagline.tui.app import SaglineApp
from sagline.virtual.cells import CELLS
from sagline.virtual.truth import truth

# A CR2032 is no LR6: it has about 3.2 V, and an LR6 at most 1.65 V (IEC 60086-2 gives the kinds).
TRAY = "virtual://tray?cells=lr6,lr6-worn,cr2032,lr6&seed=1"


def prompt(app: SaglineApp) -> str:
    return screen_text(app).split("\n")[2]


def state(app: SaglineApp) -> str:
    return app.drawer.state


async def begin(pilot, app: SaglineApp, designation: str, label: str) -> None:
    await until_state(pilot, app, "ready")
    await pilot.press("2", "b")
    await until(pilot, lambda: "Printed on the cells" in screen_text(app))
    await pilot.press(*designation, "enter")
    await until(pilot, lambda: "first cell's label: 1" in screen_text(app))
    await pilot.press("backspace", *label, "enter")


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_a_tray_becomes_rows_and_a_cell_out_of_band_waits_for_a_word(
    size: tuple[int, int], opened: OpenedRigs
) -> None:
    async def steps() -> None:
        app = SaglineApp(TRAY)
        async with app.run_test(size=size) as pilot:
            await begin(pilot, app, "LR6", "aa-09")
            await until(pilot, lambda: state(app) == "paused")
            shown = screen_text(app)
            assert all(len(line) <= size[0] for line in shown.split("\n"))
            # The label was told before, and runs on.
            assert "aa-11 is not loaded yet" in prompt(app)
            assert "at most 1.65 V: another kind of cell" in shown
            assert opened.gate_mask() == 0
            # There is no leave to load it, and so no key for that.
            assert "Space" not in shown and "k skip" in shown
            await pilot.press("space")
            assert state(app) == "paused"
            await pilot.press("k")
            await until(pilot, lambda: state(app) == "closed")
            shown = screen_text(app)
            found = dict(re.findall(r"^[ ▸](aa-\d\d) +LR6 +([\d.]+) .*measured$", shown, re.M))
            assert list(found) == ["aa-09", "aa-10", "aa-12"]
            assert re.search(r"^[ ▸]aa-11 +LR6 +3\.\d+ +- +- +- above band$", shown, re.M)
            # E of a simulated cell is what its own model has, within the converter's limits.
            assert float(found["aa-09"]) == pytest.approx(
                truth(CELLS["lr6"])["truth"]["emf_v"], rel=3e-3
            )
            # Chosen is the newest row; the one that was left out says why.
            await pilot.press("up")
            await until(pilot, lambda: "aa-11: 3." in screen_text(app))
            await pilot.press("q")
        assert app.return_code == 0 and opened.gate_mask() == 0

    run(steps())


def test_rows_are_sorted_filtered_and_grouped() -> None:
    async def steps() -> None:
        app = SaglineApp("virtual://tray?cells=lr6-worn,lr6,lr6&seed=1")
        async with app.run_test(size=(80, 24)) as pilot:
            await begin(pilot, app, "LR6", "1")
            await until(pilot, lambda: state(app) == "closed" and len(labels(app)) == 3)
            assert labels(app) == ["1", "2", "3"]
            for _ in range(3):
                await pilot.press("o")
            await until(pilot, lambda: "sorted by r" in screen_text(app))
            assert labels(app)[-1] == "1"
            await pilot.press("v")
            await until(pilot, lambda: "sorted by r, falling" in screen_text(app))
            assert labels(app)[0] == "1"
            await pilot.press("t", *"5", "enter")
            await until(pilot, lambda: "groups within 5 %" in screen_text(app))
            groups = re.findall(r"^[ ▸](\d) .* group ([A-Z])$", screen_text(app), re.M)
            assert {label for label, name in groups if name == "A"} == {"2", "3"}
            assert ("1", "B") in groups
            await pilot.press("g")
            await until(pilot, lambda: "2 groups, r within 5 %" in screen_text(app))
            await pilot.press("escape", "t", *"many", "enter")
            await until(pilot, lambda: "is no number of per cent" in screen_text(app))
            await pilot.press("slash", *"3", "enter")
            await until(pilot, lambda: labels(app) == ["3"])
            await pilot.press("q")

    def labels(app: SaglineApp) -> list[str]:
        return re.findall(r"^[ ▸](\d) +LR6 ", screen_text(app), re.M)

    run(steps())


class AtRun:
    """Holds the run of this label where its load is on, until it is let go."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.load_on, self.go_on = Event(), Event()
        real = station.procedure

        def held(rig, settings):
            for item in real(rig, settings):
                yield item
                if isinstance(item, Stepping) and item.phase == "load on":
                    self.load_on.set()
                    self.go_on.wait(PATIENCE_S)

        monkeypatch.setattr(station, "procedure", held)


def test_stop_undo_and_going_on(opened: OpenedRigs, monkeypatch: pytest.MonkeyPatch) -> None:
    held = AtRun(monkeypatch)

    async def steps() -> None:
        app = SaglineApp("virtual://tray?cells=lr6,lr6,lr6&seed=2")
        async with app.run_test(size=(80, 24)) as pilot:
            await begin(pilot, app, "LR6", "7")
            await until(pilot, held.load_on.is_set)
            assert opened.gate_mask() != 0
            await until(pilot, lambda: state(app) == "measuring")
            assert "x stop" in screen_text(app) and "e end" not in screen_text(app)
            # Meanwhile another room may be looked at, and Bench does not begin anything.
            await pilot.press("3")
            await until(pilot, lambda: "Drawer has the rig" in screen_text(app))
            await pilot.press("1", "s")
            await until(pilot, lambda: "lent: the Drawer has the rig" in screen_text(app))
            await pilot.press("2", "x")
            held.go_on.set()
            await until(pilot, lambda: state(app) == "closed")
            assert opened.gate_mask() == 0
            await until_state(pilot, app, "ready")
            await pilot.press("q")
        found = journal.read(journal.names()[-1])
        stopped = [event for event in found.events if event.what == "missed"]
        assert [(event.label, event.code) for event in stopped] == [("7", "stopped")]

    run(steps())


def test_the_last_thing_is_taken_back_and_a_drawer_gone_on_with(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    served: list[Station] = []
    real = Station.run

    def noted(self: Station):
        served.append(self)
        return real(self)

    monkeypatch.setattr(Station, "run", noted)

    async def steps() -> None:
        app = SaglineApp("virtual://tray?cells=lr6,cr2032&seed=2")
        async with app.run_test(size=(80, 24)) as pilot:
            await begin(pilot, app, "LR6", "7")
            await until(pilot, lambda: state(app) == "paused")
            assert len(served) == 1
            # Said in the pause, done behind it.
            await pilot.press("u", "k")
            await until(pilot, lambda: state(app) == "closed")
            assert "Undone: 8, 3." in " ".join(screen_text(app).split())
            assert [cell.label for cell in rows().cells] == ["7"]
            await pilot.press("r")
            await until(pilot, lambda: f"drawer: {journal.names()[-1]}" in screen_text(app))
            await pilot.press("enter")
            # The tray is a new one: its second cell is put in once more, under the same label.
            await until(pilot, lambda: len(served) == 2 and state(app) == "paused")
            assert "8 is not loaded yet" in prompt(app)
            await pilot.press("k")
            await until(pilot, lambda: state(app) == "closed")
            await pilot.press("q")
        assert len(journal.names()) == 1
        assert [cell.label for cell in rows().cells] == ["7", "8"]

    def rows() -> Drawer:
        return journal.read(journal.names()[-1]).drawer

    run(steps())


def test_a_run_is_kept_and_an_undone_one_is_out_of_the_lists() -> None:
    async def steps() -> None:
        app = SaglineApp("virtual://tray?cells=lr6&seed=3")
        async with app.run_test(size=(80, 24)) as pilot:
            await begin(pilot, app, "LR6", "once")
            await until(pilot, lambda: state(app) == "closed" and "measured" in screen_text(app))
            with Log(usual_log(demo=True)) as log:
                assert [row.label for row in list_runs(log, Filters())] == ["once"]
            await pilot.press("q")

    run(steps())


def test_a_rig_that_goes_away_is_told_in_both_rooms(
    opened: OpenedRigs, monkeypatch: pytest.MonkeyPatch
) -> None:
    held = AtRun(monkeypatch)

    async def steps() -> None:
        app = SaglineApp("virtual://tray?cells=lr6,lr6&seed=2")
        async with app.run_test(size=(80, 24)) as pilot:
            await begin(pilot, app, "LR6", "1")
            await until(pilot, held.load_on.is_set)
            opened.port().is_open = False
            held.go_on.set()
            await until(pilot, lambda: state(app) == "closed")
            assert "went away" in screen_text(app)
            await pilot.press("1")
            await until(pilot, lambda: "stopped" in screen_text(app))
            assert "went away" in screen_text(app)
            await pilot.press("q")
        assert app.fault is None

    run(steps())


def test_begin_is_refused_in_words_while_bench_measures(
    opened: OpenedRigs, monkeypatch: pytest.MonkeyPatch
) -> None:
    from test_rooms import Held

    held = Held(monkeypatch)

    async def steps() -> None:
        app = SaglineApp("virtual://lr6?seed=1", autostart=True)
        async with app.run_test(size=(80, 24)) as pilot:
            await until(pilot, held.load_on.is_set)
            await pilot.press("2", "b")
            await until(pilot, lambda: "Bench is measuring: it has the rig." in screen_text(app))
            assert "Printed on the cells" not in screen_text(app)
            held.go_on.set()
            await until_state(pilot, app, "done")
            await pilot.press("q")
        assert app.return_code == 0

    run(steps())
