# SPDX-License-Identifier: MIT
"""What the board's code may import. The linter of imports can forbid, not allow, so it is here."""

import ast
from pathlib import Path

import pytest

FIRMWARE = Path(__file__).parents[2] / "firmware"
PORTABLE = sorted((FIRMWARE / "lib" / "sagline_board").rglob("*.py"))
ALL_FILES = sorted(FIRMWARE.rglob("*.py"))

# Modules that both CPython and MicroPython have, and that touch neither hardware nor a clock.
ALLOWED = {"array", "binascii", "collections", "math", "struct"}
# MicroPython's own, which a CPython import must be able to do without.
OPTIONAL = {"micropython"}
CHIP = {"machine", "rp2"}
CHIP_FILES = {"boot.py", "boards/pico.py", "boards/oneshot.py", "boards/watchdog.py"}


def imported_names(source: str) -> set[str]:
    """First part of every absolute import in `source`, wherever it stands; relative ones not."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names.update(alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names.add(node.module.split(".")[0])
    return names


def test_imports_are_found_wherever_they_stand() -> None:
    source = "import a.b, c\nfrom d.e import f\nfrom . import g\ndef h():\n    import i\n"
    assert imported_names(source) == {"a", "c", "d", "i"}


def test_the_files_are_there() -> None:
    assert FIRMWARE / "lib" / "sagline_board" / "__init__.py" in PORTABLE


@pytest.mark.parametrize("path", PORTABLE, ids=lambda path: path.name)
def test_portable_code_imports_itself_and_little_else(path: Path) -> None:
    names = imported_names(path.read_text(encoding="utf-8"))
    assert names <= ALLOWED | OPTIONAL | {"sagline_board"}


@pytest.mark.parametrize("path", ALL_FILES, ids=lambda path: path.relative_to(FIRMWARE).as_posix())
def test_only_the_pico_files_know_the_chip(path: Path) -> None:
    if path.relative_to(FIRMWARE).as_posix() not in CHIP_FILES:
        assert not imported_names(path.read_text(encoding="utf-8")) & CHIP
