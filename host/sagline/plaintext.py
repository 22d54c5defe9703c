# SPDX-License-Identifier: MIT
"""What a person may write into a record: one line of plain text."""

from sagline.errors import UsageError


def plain_text(name: str, text: str | None) -> str | None:
    """Return text for a record without blanks around it, None where nothing is left.

    Raises UsageError for what is no line of plain text.
    """
    text = None if text is None else text.strip() or None
    if text is not None and not text.isprintable():
        raise UsageError(
            "not_text",
            f"The {name} holds a line break, a control character or bytes that are no text.",
            "Give one line of plain text.",
        )
    return text
