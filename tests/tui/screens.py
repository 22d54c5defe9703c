# SPDX-License-Identifier: MIT
"""A running app as plain characters, and waiting for it by its own words."""

import asyncio
import re
from collections.abc import Callable, Coroutine
from typing import Any

from textual.app import App
from textual.pilot import Pilot

from sagline.tui.app import SaglineApp

FAST = "virtual://lr6?seed=1"
BRAILLE = re.compile("[\u2800-\u28ff]")
# Far beyond what any step takes, so that only a hanging app meets it.
PATIENCE_S = 60.0


def screen_text(app: App[Any]) -> str:
    """What the terminal shows now, line by line, without trailing spaces."""
    strips = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in strip).rstrip() for strip in strips)


def colours(app: App[Any]) -> set[str]:
    """Names of all colours the terminal is sent now, fore and back."""
    strips = app.screen._compositor.render_strips()
    styles = [segment.style for strip in strips for segment in strip if segment.style]
    both = [colour for style in styles for colour in (style.color, style.bgcolor)]
    return {colour.name for colour in both if colour is not None}


async def until(pilot: Pilot[Any], condition: Callable[[], bool]) -> None:
    """Let the app run until `condition` holds."""
    async with asyncio.timeout(PATIENCE_S):
        while not condition():
            await pilot.pause(0.01)
    await pilot.pause()


async def until_state(pilot: Pilot[Any], app: SaglineApp, *states: str) -> None:
    """Let the app run until Bench is in one of `states`."""
    await until(pilot, lambda: app.bench.state in states)


def run(steps: Coroutine[Any, Any, None]) -> None:
    """Run what a test does with a pilot."""
    asyncio.run(steps)
