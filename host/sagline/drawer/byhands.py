# SPDX-License-Identifier: MIT
"""The hands of a simulated rig at a drawer: they take cells out and put the tray's next ones in."""

from typing import TYPE_CHECKING

from sagline.drawer.news import Inbox, News, PutIn, TakeOut

if TYPE_CHECKING:
    from sagline.device.rig import Rig
    from sagline.virtual.hands import Hands


class ByHands:
    """Does what the drawer asks of hands, and ends it when the tray is empty."""

    def __init__(self, hands: "Hands", inbox: Inbox) -> None:
        self._hands = hands
        self._inbox = inbox
        self._last = hands.cell
        self._again: str | None = None

    def see(self, news: News) -> None:
        """Do what this asks for."""
        if isinstance(news, TakeOut):
            self._last = self._hands.cell or self._last
            self._hands.remove()
        elif isinstance(news, PutIn) and self._hands.cell is None:
            self._put_in(news)

    def _put_in(self, asked: PutIn) -> None:
        if asked.again and asked.label != self._again and self._last is not None:
            self._again = asked.label
            self._hands.insert(self._last)
        elif asked.again:
            # Twice was enough.
            self._inbox.put("skip")
        elif self._hands.next_cell() is None:
            self._inbox.put("end")


def hands_at(rig: "Rig", inbox: Inbox) -> ByHands | None:
    """Return the hands of a rig that is simulated in this program, None at any other."""
    if not rig.address.startswith("virtual://"):
        return None
    return ByHands(rig.hands(), inbox)
