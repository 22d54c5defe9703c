# SPDX-License-Identifier: MIT
"""Contact found by itself: when what is between the clips has come to rest, and when it is gone."""

from dataclasses import dataclass

SETTLED_LOOKS = 3
"""So many looks one after the other must agree."""

SETTLED_V, SETTLED_SHARE = 0.005, 0.005
"""How far looks that agree may be apart (V, and of the voltage): a hand that still presses the
cell into its holder moves it by more, common practice."""


@dataclass(frozen=True)
class Look:
    """One look: the open voltage (V), or the code and words of what is wrong."""

    open_v: float | None = None
    code: str | None = None
    reason: str = ""
    remedy: str = ""

    @property
    def is_empty(self) -> bool:
        """Whether nothing is between the clips."""
        return self.code == "no_cell"


class Contact:
    """Takes looks in their order; tells what has settled, each thing once."""

    def __init__(self) -> None:
        self._alike: list[Look] = []
        self._told: Look | None = None

    def take(self, look: Look) -> Look | None:
        """Return `look` where it has just settled as something else than was told before.

        That nothing is there is told at once: fingers are quick.
        """
        if self._alike and not _agree(self._alike[0], look):
            self._alike = []
        self._alike.append(look)
        if not look.is_empty and len(self._alike) < SETTLED_LOOKS:
            return None
        if self._told is not None and _same_thing(self._told, look):
            return None
        self._told = look
        return look

    def forget(self) -> None:
        """Tell what is there once more when it has settled."""
        self._alike = []
        self._told = None


def _agree(first: Look, other: Look) -> bool:
    if first.code != other.code:
        return False
    if first.open_v is None or other.open_v is None:
        return True
    apart_v = abs(first.open_v - other.open_v)
    return apart_v <= SETTLED_V + SETTLED_SHARE * abs(first.open_v)


def _same_thing(told: Look, look: Look) -> bool:
    """A cell that is still in is the same one: only an empty look comes between two cells."""
    return told.code == look.code
