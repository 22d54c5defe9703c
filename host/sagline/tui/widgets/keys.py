# SPDX-License-Identifier: MIT
"""The row of keys: as many lines as it takes, no key parted from its word."""

from collections.abc import Sequence

GAP = "   "


def key_lines(keys: Sequence[str], width: int) -> list[str]:
    """Return `keys` in lines of at most `width` columns, in their order."""
    lines: list[str] = []
    for key in keys:
        longer = f"{lines[-1]}{GAP}{key}" if lines else key
        if lines and len(longer) <= width:
            lines[-1] = longer
        else:
            lines.append(key)
    return lines
