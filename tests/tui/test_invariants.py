# SPDX-License-Identifier: MIT
"""What holds for every screen: it computes nothing, and it waits for no heavy import."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import sagline.tui

SCREENS = sorted(Path(sagline.tui.__file__).parent.glob("*.py"))

FIRST_PAINT = """
import asyncio, sys
from sagline.tui.app import SaglineApp
from sagline.tui.driver import Driver

Driver.start = lambda self: None

async def paint():
    async with SaglineApp("virtual://lr6").run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "r(0.1 s)" in str(pilot.app.screen.query_one("#equation").render())

asyncio.run(paint())
found = {"scipy", "GTC", "pydantic"} & set(sys.modules)
sys.exit(f"imported: {sorted(found)}" if found else 0)
"""


def arithmetic_in(source: str) -> list[int]:
    """Lines that compute; `|` between types and ** between arguments are none."""
    operators = (ast.Add, ast.Sub, ast.Mult, ast.Div, ast.FloorDiv, ast.Mod, ast.Pow)
    return [
        node.lineno
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.BinOp) and isinstance(node.op, operators)
    ]


def test_arithmetic_is_found() -> None:
    assert arithmetic_in("a = 1\nb: int | None = a - 1\nf(**c)\n") == [2]


@pytest.mark.parametrize("path", SCREENS, ids=lambda path: path.name)
def test_a_screen_computes_nothing(path: Path) -> None:
    # The rig's thread, which counts the time that it sleeps.
    if path.name not in ("driver.py", "serving.py"):
        assert not arithmetic_in(path.read_text(encoding="utf-8"))


def test_the_first_screen_is_painted_without_heavy_imports() -> None:
    done = subprocess.run(
        [sys.executable, "-c", FIRST_PAINT], capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
