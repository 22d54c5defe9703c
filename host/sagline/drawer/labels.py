# SPDX-License-Identifier: MIT
"""Labels that run on: the next one is the last plus one."""

import re
from collections.abc import Iterable

FIRST = "1"
_LAST_NUMBER = re.compile(r"([0-9]+)(?=[^0-9]*\Z)")


def following(label: str) -> str:
    """Return the label after `label`: its last number plus one, as wide as it was.

    "lr6-09" gives "lr6-10", "box 3 left" gives "box 4 left"; one without a number gets one.
    """
    found = _LAST_NUMBER.search(label)
    if found is None:
        return f"{label} 2" if label else FIRST
    number = str(int(found[1]) + 1).zfill(len(found[1]))
    return f"{label[: found.start()]}{number}{label[found.end() :]}"


def free_after(label: str, taken: Iterable[str]) -> str:
    """Return the first label after `label` that is not taken."""
    used = set(taken)
    while (label := following(label)) in used:
        pass
    return label
