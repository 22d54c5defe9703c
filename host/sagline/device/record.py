# SPDX-License-Identifier: MIT
"""Fetches the record of a finished step, whole or not at all."""

import numpy as np
from numpy.typing import NDArray

from sagline.device.link import Link
from sagline.errors import NEW_FIRMWARE, WrongDevice
from sagline_board import commands

# How often a chunk that does not fit is asked for.
TRIES = 3
_WIDTH = len(commands.POINT_FIELDS)


def fetch_points(link: Link) -> NDArray[np.int64]:
    """Return the points of the last step, an int64 array of (points, 5).

    Columns are `commands.POINT_FIELDS`. Raises WrongDevice where the chunks do
    not make up the number of points that STEP:STATe? counts, before and after;
    else as `Link.request`.
    """
    count = _count(link)
    values: list[int] = []
    for chunk in range(-(-count // commands.CHUNK_POINTS)):
        wanted = min(commands.CHUNK_POINTS, count - chunk * commands.CHUNK_POINTS)
        values.extend(_chunk(link, chunk, wanted))
    if _count(link) != count:
        raise _unfit("The record changed while it was fetched")
    return np.array(values, dtype=np.int64).reshape(count, _WIDTH)


def _count(link: Link) -> int:
    state = link.fields("state")
    if state["state"] != commands.DONE or state["points"] < 0:
        raise _unfit("The step's record is gone")
    return state["points"]


def _chunk(link: Link, chunk: int, wanted: int) -> list[int]:
    """Return the integers of one chunk; ask again where its header does not fit."""
    number = points = 0
    for _ in range(TRIES):
        number, points, *integers = link.integers("fetch", chunk, least=2)
        if (number, points, len(integers)) == (chunk, wanted, wanted * _WIDTH):
            return integers
    raise _unfit(
        f"Chunk {chunk} of the record was to have {wanted} points; "
        f"it came as {number} with {points}"
    )


def _unfit(what: str) -> WrongDevice:
    return WrongDevice(
        "bad_record",
        f"{what}.",
        f"Measure again; if it stays so, {NEW_FIRMWARE}",
    )
