# SPDX-License-Identifier: MIT
"""A drawer at the rig, as the rig's thread drives it; what it tells becomes messages."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from typing import TYPE_CHECKING

from textual.message import Message

from sagline.tui.messages import DrawerBegun, DrawerNews

if TYPE_CHECKING:
    from sagline.device.rig import Rig
    from sagline.drawer.beginning import Ask
    from sagline.drawer.news import Inbox

# Between two looks, beside what the rig itself takes for one; and between two that are shown.
IDLE_S, SHOW_S = 0.02, 0.1


def serve(
    rig: Rig,
    ask: Ask,
    inbox: Inbox,
    post: Callable[[Message], object],
    is_ending: Callable[[], bool],
) -> None:
    """Serve a drawer until it is told to end, or `is_ending`. Raises what the drawer raises."""
    from sagline.config import load_config
    from sagline.drawer.beginning import begin, figures_in, references_for
    from sagline.drawer.byhands import hands_at
    from sagline.drawer.news import Reading
    from sagline.drawer.station import Station

    found = begin(rig, replace(ask, operator=ask.operator or load_config().operator))
    opened = found.drawer.opened
    post(DrawerBegun(found.name, simulated=opened.simulated))
    station = Station(
        rig,
        found,
        inbox,
        figures_in(found),
        references_for(found),
        idle=lambda: time.sleep(IDLE_S),
    )
    hands = hands_at(rig, inbox)
    shown_s = 0.0
    # Closing the generator turns the load off.
    with closing(station.run()) as items:
        for news in items:
            if is_ending():
                return
            now_s = time.monotonic()
            if not isinstance(news, Reading) or now_s > shown_s + SHOW_S:
                shown_s = now_s
                post(DrawerNews(news))
            if hands is not None:
                hands.see(news)
