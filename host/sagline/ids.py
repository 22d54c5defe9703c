# SPDX-License-Identifier: MIT
"""How an id is shown."""


def short_id(whole: str) -> str:
    """Return the end of an id, enough for a person: its beginning is the time, alike in a class."""
    return whole[-8:]
