# SPDX-License-Identifier: MIT
"""The Logbook room over a log of simulated runs."""

import csv
import json
import re
from pathlib import Path

import pytest
from screens import FAST, run, screen_text, until

from sagline.cli import main
from sagline.log.choice import usual_log
from sagline.log.listing import Filters, list_runs
from sagline.log.store import Log
from sagline.tui.app import SaglineApp

MEASURE = ["measure", "--designation", "LR6", "--repeats", "2", "--label"]


@pytest.fixture
def ids(capsys: pytest.CaptureFixture[str]) -> dict[str, str]:
    """Two runs of one cell, new and worn, and one of another: the newest is the spare."""
    for cell, label in (("lr6", "torch"), ("lr6-worn", "torch"), ("lr6", "spare")):
        assert main([*MEASURE, label, "--rig", f"virtual://{cell}?seed=4"]) == 0
    with Log(usual_log(demo=True)) as log:
        newest, worn, new = list_runs(log, Filters())
    return {"spare": newest.id, "worn": worn.id, "new": new.id}


def listed(app: SaglineApp) -> list[str]:
    return re.findall(r"^[ ▸]([0-9a-f]{8})  20", screen_text(app), re.M)


def words(app: SaglineApp) -> str:
    return " ".join(screen_text(app).split())


async def enter(pilot, app: SaglineApp, number: int = 3) -> None:
    await pilot.press("3")
    await until(pilot, lambda: len(listed(app)) == number)


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_runs_are_listed_searched_and_shown(ids: dict[str, str], size: tuple[int, int]) -> None:
    async def steps() -> None:
        app = SaglineApp(FAST)
        async with app.run_test(size=size) as pilot:
            await enter(pilot, app)
            assert listed(app) == [ids[name][-8:] for name in ("spare", "worn", "new")]
            assert "listed: 3 runs" in screen_text(app)
            assert all(len(line) <= size[0] for line in screen_text(app).split("\n"))
            await pilot.press("slash", *"TORCH lr6", "enter")
            await until(pilot, lambda: listed(app) == [ids["worn"][-8:], ids["new"][-8:]])
            assert "2 runs with 'TORCH lr6'" in screen_text(app)
            # Without colours too it is seen which one is chosen.
            assert f"▸{ids['worn'][-8:]}" in screen_text(app)
            await pilot.press("down")
            await until(pilot, lambda: f"▸{ids['new'][-8:]}" in screen_text(app))
            assert screen_text(app).count("▸") == 1
            await pilot.press("enter")
            await until(pilot, lambda: f"run       {ids['new']}" in screen_text(app))
            await pilot.press("escape", "o")
            await until(pilot, lambda: "torch: 2 runs" in screen_text(app))
            assert len(re.findall("●", screen_text(app))) == 2
            await pilot.press("escape", "m")
            await until(pilot, lambda: "No run is as you ask." in screen_text(app))
            await pilot.press("q")

    run(steps())


def test_labels_notes_and_deletions_are_made_and_taken_back(ids: dict[str, str]) -> None:
    async def steps() -> None:
        app = SaglineApp(FAST)
        async with app.run_test(size=(80, 24)) as pilot:
            await enter(pilot, app)
            assert "u undo" not in screen_text(app)
            await pilot.press("n", *"left drawer", "enter")
            await until(pilot, lambda: "Note: left drawer" in screen_text(app))
            await pilot.press("l", *" 2", "enter")
            await until(pilot, lambda: "is now 'spare 2'; it was 'spare'" in words(app))
            await pilot.press("d")
            await until(pilot, lambda: len(listed(app)) == 2)
            await pilot.press("b")
            await until(pilot, lambda: listed(app) == [ids["spare"][-8:]])
            assert "d restore" in screen_text(app) and "d delete" not in screen_text(app)
            await pilot.press("d")
            await until(pilot, lambda: listed(app) == [])
            await pilot.press("b")
            await until(pilot, lambda: len(listed(app)) == 3)
            # Back, one by one: restored, deleted, relabelled, noted.
            for wanted in (("spare 2", 1), ("spare 2", 0), ("spare", 0), ("spare", 0)):
                await pilot.press("u")
                await until(pilot, lambda wanted=wanted: as_kept() == wanted)
            await until(pilot, lambda: note() is None and "u undo" not in screen_text(app))
            await pilot.press("q")

    def as_kept() -> tuple[str | None, int]:
        with Log(usual_log(demo=True)) as log:
            record = log.any_record(ids["spare"])
            return record.label, int(log.is_deleted(ids["spare"]))

    def note() -> str | None:
        with Log(usual_log(demo=True)) as log:
            return log.note(ids["spare"])

    run(steps())


def test_a_run_is_computed_again_and_exported(
    ids: dict[str, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)

    async def steps() -> None:
        app = SaglineApp(FAST)
        async with app.run_test(size=(80, 24)) as pilot:
            await enter(pilot, app)
            await pilot.press("c")
            await until(pilot, lambda: "has a result of method" in words(app))
            await pilot.press("w", "enter")
            await until(pilot, lambda: "3 runs written to" in words(app))
            # What is there is not overwritten.
            await pilot.press("w", "enter")
            await until(pilot, lambda: "is there already" in words(app))
            await pilot.press("e", *(["backspace"] * 40), *"one.json", "enter")
            await until(pilot, lambda: "1 run written to" in words(app))
            await pilot.press("e", *(["backspace"] * 40), *"one", "enter")
            await until(pilot, lambda: "does not say in which form" in words(app))
            await pilot.press("q")

    run(steps())
    with open(tmp_path / "sagline-runs.csv", newline="", encoding="utf-8-sig") as file:
        assert [row["id"] for row in csv.DictReader(file)] == [
            ids[name] for name in ("spare", "worn", "new")
        ]
    assert json.loads((tmp_path / "one.json").read_text(encoding="utf-8"))["label"] == "spare"


def test_a_damaged_log_is_told_with_what_to_do(ids: dict[str, str]) -> None:
    usual_log(demo=True).write_bytes(b"no log at all" * 400)

    async def steps() -> None:
        app = SaglineApp(FAST)
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("3")
            await until(pilot, lambda: "refused" in screen_text(app))
            assert "damaged" in words(app) or "is no log" in words(app)
            await pilot.press("q")
        assert app.return_code == 0

    run(steps())
