# SPDX-License-Identifier: MIT
"""Bench, driven by keys and read as characters, on the virtual rig."""

import re
from pathlib import Path
from signal import SIGINT
from threading import Event

import pytest
from opened_rigs import OpenedRigs
from screens import BRAILLE, FAST, PATIENCE_S, colours, run, screen_text, until, until_state

from sagline import wording
from sagline.device import procedure
from sagline.device.rig import open_rig
from sagline.device.settings import Settings
from sagline.tui.app import SaglineApp

GOLDEN = Path(__file__).parent / "bench-80x24.txt"
SIZES = [(80, 24), (120, 40)]


def masked(text: str) -> str:
    """The layout alone: every digit is 0, dots are left out."""
    return "\n".join(
        line.rstrip() for line in BRAILLE.sub(" ", re.sub(r"\d", "0", text)).split("\n")
    )


def numbers_in_equation(text: str) -> tuple[float, float, float, float]:
    found = re.search(r"= \(([\d.]+) − ([\d.]+)\) V / ([\d.]+) A.*\n *= ([\d.]+) Ω", text)
    assert found, text
    emf_v, loaded_v, current_a, r_ohm = map(float, found.groups())
    return emf_v, loaded_v, current_a, r_ohm


@pytest.mark.parametrize("size", SIZES)
def test_from_the_key_to_the_result(size: tuple[int, int]) -> None:
    async def steps() -> None:
        app = SaglineApp(FAST)
        async with app.run_test(size=size) as pilot:
            await until_state(pilot, app, "ready")
            await until(pilot, lambda: " V  now" in screen_text(app))
            idle = screen_text(app)
            assert "simulated rig lr6-1" in idle and "ready" in idle
            assert "r(0.1 s) = (E − V) / I" in idle and "= (… − …) V / …" in idle
            assert re.search(r"Terminal voltage  1\.\d{4} V  now", idle)
            await pilot.press("s")
            await until_state(pilot, app, "done", "stopped")
            shown = screen_text(app)
            await pilot.press("q")
        lines = shown.split("\n")
        assert len(lines) == size[1] and all(len(line) <= size[0] for line in lines)
        assert "done" in lines[0] and "provisional" not in shown
        emf_v, loaded_v, current_a, r_ohm = numbers_in_equation(shown)
        # Rounding of what is shown: four digits of E − V, of I and of r.
        assert (emf_v - loaded_v) / current_a == pytest.approx(r_ohm, rel=2e-3)
        assert f"E = {emf_v:.6f} V" in shown and f"V = {loaded_v:.6f} V" in shown
        assert f"I = {current_a:.5f} A" in shown
        assert re.search(
            r"r\(0\.1 s\) = 0\.\d+ Ω ± 0\.\d+ Ω   \(95 %, k = \d\.\d\d, dof [^)]+\)", shown
        )
        assert re.search(r"EMF +=? ?1\.\d+ V ± 0\.\d+ V   \(95 %, k = \d\.\d\d, dof [^)]+\)", shown)
        assert len(re.findall(r"^ +\d  0\.\d{4} Ω   1\.\d{4} V", shown, re.M)) == 5
        assert "voltage in V" in shown and "s after load on" in shown
        assert BRAILLE.search(shown)
        assert lines[-1] == " s start   w working   b budget   n notes   ? help   q quit"
        assert app.return_code == 0

    run(steps())


def test_the_screen_and_the_procedure_agree() -> None:
    # With autostart nothing is read before the first measurement: one seed, one result.
    with open_rig(FAST) as rig:
        result = procedure.measure(rig, Settings())

    async def steps() -> None:
        app = SaglineApp(FAST, autostart=True)
        async with app.run_test(size=(80, 24)) as pilot:
            await until_state(pilot, app, "done", "stopped")
            await until(pilot, lambda: "now" in screen_text(app))
            shown = screen_text(app)
            assert wording.figure(result.r_ohm, "Ω") in shown
            assert result.emf_v is not None and wording.figure(result.emf_v, "V") in shown
            for row in result.repeats:
                assert f"{row.n}  {row.r_ohm:.4f} Ω   {row.emf_v:.4f} V" in shown
            assert masked(shown) == GOLDEN.read_text(encoding="utf-8").rstrip("\n")

    run(steps())


def test_the_plan_and_what_it_will_yield_are_shown_before_the_first_load() -> None:
    async def steps() -> None:
        address = "virtual://starter12?seed=1&null=off&pace=real"
        app = SaglineApp(address, Settings(designation="PB12"), autostart=True)
        async with app.run_test(size=(80, 24)) as pilot:
            await until(pilot, lambda: "--load 3.3" in screen_text(app))
            shown = screen_text(app)
            assert "repeat 1 of 5, rest" in shown and "Expected U(r): about " in shown
            await pilot.press("n")
            await until(pilot, lambda: "1. On 15 Ω, U(r) of about" in screen_text(app))
            await pilot.press("q")

    run(steps())


def test_figures_are_provisional_until_the_last_repeat(monkeypatch: pytest.MonkeyPatch) -> None:
    def only_two(rig, settings):
        for item in real(rig, settings):
            yield item
            if getattr(item, "repeat", None) == 2 and hasattr(item, "waveform"):
                return

    real = procedure.run
    monkeypatch.setattr(procedure, "run", only_two)

    async def steps() -> None:
        app = SaglineApp(FAST, autostart=True)
        async with app.run_test(size=(80, 24)) as pilot:
            await until(pilot, lambda: "repeat 2 of 5\n" in without_plot(screen_text(app)))
            shown = screen_text(app)
            assert "provisional, repeat 2 of 5" in shown
            numbers_in_equation(shown)
            assert "±" not in shown
            assert re.search(r"^ +2  0\.", shown, re.M) and re.search(r"^ +3  …", shown, re.M)
            assert "in V, repeat 2" in shown

    def without_plot(text: str) -> str:
        return "\n".join(line[:49].rstrip() for line in text.split("\n"))

    run(steps())


def test_stop_turns_the_load_off_and_s_measures_again(
    opened: OpenedRigs, monkeypatch: pytest.MonkeyPatch
) -> None:
    load_on, go_on = Event(), Event()

    def held(rig, settings):
        """Hold the first measurement where its load is on, until told to go on."""
        for item in real(rig, settings):
            if not load_on.is_set() and getattr(item, "phase", "") == "load on":
                load_on.set()
                go_on.wait(PATIENCE_S)
            yield item

    real = procedure.run
    monkeypatch.setattr(procedure, "run", held)

    async def steps() -> None:
        app = SaglineApp(FAST)
        async with app.run_test(size=(80, 24)) as pilot:
            await until_state(pilot, app, "ready")
            await pilot.press("s")
            await until(pilot, load_on.is_set)
            assert opened.gate_mask() != 0
            assert "measuring" in screen_text(app).split("\n")[0]
            await pilot.press("x")
            await until_state(pilot, app, "stopping")
            go_on.set()
            await until_state(pilot, app, "stopped", "done")
            assert opened.gate_mask() == 0
            assert "stopped: the load is off" in screen_text(app).split("\n")[0]
            for _ in range(2):
                await pilot.press("s")
                assert app.bench.state != "stopped"
                await until_state(pilot, app, "done", "stopped")
                assert "done" in screen_text(app).split("\n")[0]
            await pilot.press("q")
        assert (len(opened), opened.port().is_open, opened.gate_mask()) == (1, False, 0)
        assert not app.driver.is_alive() and app.return_code == 0

    run(steps())


def test_an_error_is_shown_with_its_remedy_and_s_tries_again() -> None:
    async def steps() -> None:
        app = SaglineApp("virtual://no-such-cell", autostart=True)
        async with app.run_test(size=(80, 24)) as pilot:
            for _ in range(2):
                await until_state(pilot, app, "stopped", "done")
                shown = screen_text(app)
                assert "stopped" in shown.split("\n")[0]
                assert "no-such-cell" in shown.split("\n", 1)[1] and "Use one of: lr6" in shown
                await pilot.press("s")
            await until_state(pilot, app, "stopped")
            await pilot.press("q")
        assert app.return_code == 0 and app.fault is None

    run(steps())


def test_a_fault_of_ours_is_shown_and_leaves_with_1(
    opened: OpenedRigs, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(rig, settings):
        raise ZeroDivisionError("by nothing")
        yield

    monkeypatch.setattr(procedure, "run", broken)

    async def steps() -> None:
        app = SaglineApp(FAST, autostart=True)
        async with app.run_test(size=(80, 24)) as pilot:
            await until_state(pilot, app, "stopped", "done")
            assert "ZeroDivisionError: by nothing" in screen_text(app)
            await pilot.press("q")
        assert app.return_code == 1 and isinstance(app.fault, ZeroDivisionError)
        assert not opened.port().is_open

    run(steps())


def test_notes_and_help_are_pages_of_their_own() -> None:
    with open_rig(FAST) as rig:
        warnings = procedure.measure(rig, Settings()).warnings
    assert warnings

    async def steps() -> None:
        app = SaglineApp(FAST)
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("n")
            assert "no notes yet" in screen_text(app)
            await pilot.press("escape", "s")
            await until_state(pilot, app, "ready", "done", "stopped")
            if app.bench.state == "ready":
                await pilot.press("s")
            await until_state(pilot, app, "done", "stopped")
            await pilot.press("n")
            await until(pilot, lambda: "Notes" in screen_text(app))
            words = " ".join(screen_text(app).split())
            for warning in warnings:
                assert warning.text in words
                assert warning.remedy in words
            await pilot.press("n", "question_mark")
            await until(pilot, lambda: "Help" in screen_text(app))
            assert "x        stop it; the load goes off" in screen_text(app)
            await pilot.press("q")
        assert app.return_code == 0

    run(steps())


@pytest.mark.parametrize(
    ("no_color", "expected"), [("1", {"default"}), (None, {"default", "color(6)"})]
)
def test_no_colour_shows_the_same_characters(
    monkeypatch: pytest.MonkeyPatch, no_color: str | None, expected: set[str]
) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    if no_color is not None:
        monkeypatch.setenv("NO_COLOR", no_color)

    async def steps() -> None:
        app = SaglineApp(FAST, autostart=True)
        async with app.run_test(size=(80, 24)) as pilot:
            await until_state(pilot, app, "done", "stopped")
            await until(pilot, lambda: "now" in screen_text(app))
            assert masked(screen_text(app)) == GOLDEN.read_text(encoding="utf-8").rstrip("\n")
            # Not even black or white; and of colours one of the terminal's own, made legible.
            assert colours(app) == expected

    run(steps())


@pytest.mark.parametrize(
    ("size", "fits"), [((30, 8), False), ((59, 20), False), ((60, 19), False), ((60, 20), True)]
)
def test_a_terminal_too_small_says_so_and_measures_all_the_same(
    size: tuple[int, int], fits: bool
) -> None:
    async def steps() -> None:
        app = SaglineApp(FAST, autostart=True)
        async with app.run_test(size=size) as pilot:
            await until_state(pilot, app, "done", "stopped")
            assert app.bench.state == "done"
            shown = screen_text(app)
            assert ("r(0.1 s)" in shown) is fits
            assert ("too small" in shown) is not fits
            await pilot.resize_terminal(80, 24)
            await until(pilot, lambda: "r(0.1 s) = 0." in screen_text(app))
            assert "too small" not in screen_text(app)

    run(steps())


def test_notes_hang_behind_their_number_at_any_width() -> None:
    async def steps() -> None:
        app = SaglineApp(FAST, autostart=True)
        async with app.run_test(size=(60, 24)) as pilot:
            await until_state(pilot, app, "done", "stopped")
            await pilot.press("n")
            for columns in (60, 40):
                await pilot.resize_terminal(columns, 24)
                await until(pilot, lambda: "1. " in screen_text(app))
                notes = screen_text(app).split("\n")[2:-1]
                text = notes[: next(n for n, line in enumerate(notes) if not line.strip())]
                assert text[0].startswith(" 1. ") and len(text) > 3
                assert all(line.startswith("    ") for line in text[1:])

    run(steps())


def test_only_keys_that_do_something_are_shown(
    opened: OpenedRigs, monkeypatch: pytest.MonkeyPatch
) -> None:
    measuring, go_on = Event(), Event()

    def held(rig, settings):
        for item in real(rig, settings):
            yield item
            measuring.set()
            go_on.wait(PATIENCE_S)

    real = procedure.run
    monkeypatch.setattr(procedure, "run", held)

    def keys(app: SaglineApp) -> list[str]:
        return screen_text(app).split("\n")[-1].split("   ")

    async def steps() -> None:
        app = SaglineApp(FAST)
        async with app.run_test(size=(80, 24)) as pilot:
            await until_state(pilot, app, "ready")
            assert keys(app) == [" s start", "n notes", "? help", "q quit"]
            await pilot.press("x")
            assert app.bench.state == "ready"
            await pilot.press("s")
            await until(pilot, measuring.is_set)
            await until_state(pilot, app, "measuring")
            assert keys(app) == [" x stop", "n notes", "? help", "q quit"]
            go_on.set()
            await pilot.press("q")
        # Left in mid-measurement: the user has stopped it.
        assert (app.ended_by, app.return_code, app.closed) == (SIGINT, 130, True)
        assert opened.gate_mask() == 0 and not opened.port().is_open

    run(steps())
