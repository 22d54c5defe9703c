# SPDX-License-Identifier: MIT
"""Everything the rig's thread tells the rooms: the one catalogue of messages."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.message import Message

from sagline.device.progress import Progress

if TYPE_CHECKING:
    from sagline.drawer.news import News


class Opening(Message):
    """The rig is being opened."""

    def __init__(self, address: str) -> None:
        super().__init__()
        self.address = address


class RigOpened(Message):
    """The rig is there. `name` is its own, `simulated` whether it is a virtual one.

    `starting`: a measurement has been asked for and begins at once.
    """

    def __init__(self, name: str, *, simulated: bool, starting: bool) -> None:
        super().__init__()
        self.name = name
        self.simulated = simulated
        self.starting = starting


class LiveVoltage(Message):
    """One reading of the terminal voltage in volts, between measurements."""

    def __init__(self, terminal_v: float) -> None:
        super().__init__()
        self.terminal_v = terminal_v


class Started(Message):
    """A measurement begins: so many repeats, r reported at `t_s` after load on."""

    def __init__(self, repeats: int, t_s: float) -> None:
        super().__init__()
        self.repeats = repeats
        self.t_s = t_s


class Advanced(Message):
    """The measurement has come one item further; Finished is the last one."""

    def __init__(self, item: Progress) -> None:
        super().__init__()
        self.item = item


class NotKept(Message):
    """The result stands, but could not be put into the log: why, and what to do."""

    def __init__(self, text: str, remedy: str) -> None:
        super().__init__()
        self.text = text
        self.remedy = remedy


class StoppedByUser(Message):
    """The measurement was stopped as asked; the load is off."""


class Failed(Message):
    """Something went wrong: what, and what to do.

    `fault` is the exception where it is none of those a person can do something about.
    """

    def __init__(self, text: str, remedy: str, fault: Exception | None = None) -> None:
        super().__init__()
        self.text = text
        self.remedy = remedy
        self.fault = fault


class RigLent(Message):
    """The Drawer has the rig."""


class RigBack(Message):
    """The Drawer has the rig no more."""


class ForDrawer(Message):
    """What the Drawer is told, and no other room."""


class DrawerBegun(ForDrawer):
    """The drawer of this name is at the rig; `simulated` whether its cells are."""

    def __init__(self, name: str, *, simulated: bool) -> None:
        super().__init__()
        self.name = name
        self.simulated = simulated


class DrawerNews(ForDrawer):
    """The drawer tells something."""

    def __init__(self, item: News) -> None:
        super().__init__()
        self.item = item


class DrawerEnded(ForDrawer):
    """The drawer is at the rig no more: why, and what to do, where it was not asked for."""

    def __init__(self, text: str = "", remedy: str = "") -> None:
        super().__init__()
        self.text = text
        self.remedy = remedy
