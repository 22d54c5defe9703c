# SPDX-License-Identifier: MIT
"""Rows as CSV text that a spreadsheet of any country reads, and takes for data only."""

import csv
import io
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

Field = str | int | float | None

# What makes a spreadsheet take a field for a formula (common practice), or part with it.
_FORMULA = tuple("=+-@＝＋－＠")
# The same behind what a spreadsheet may take for the end of a field.
_HIDDEN_FORMULA = re.compile(r"""[,;]\s*["']?[=+\-@＝＋－＠]""")


class Digits(str):
    """A number that is written already, with a decimal point."""


class Style(NamedTuple):
    """How numbers are written; what parts the fields follows from it."""

    decimal_comma: bool = False

    @property
    def separator(self) -> str:
        """The character between two fields."""
        return ";" if self.decimal_comma else ","


def as_text(text: str) -> str:
    """Return `text` so that no spreadsheet computes it.

    One apostrophe goes before what looks like a formula, and before what begins with an
    apostrophe itself: taking one leading apostrophe off gives the text back.
    """
    first = text.lstrip()[:1]
    if text[:1] == "'" or (first and first in _FORMULA) or text[:1] in ("\t", "\r", "\n"):
        return f"'{text}"
    return text


def table(header: Sequence[str], rows: Iterable[Sequence[Field]], style: Style) -> str:
    """Return header and rows as CSV (RFC 4180, with line feeds), floats in full, None as empty."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=style.separator, lineterminator="\n")
    writer.writerow(header)
    writer.writerows([_field(value, style) for value in row] for row in rows)
    return out.getvalue()


def metadata(values: Mapping[str, Field]) -> str:
    """Return a line `# key: value` for each, numbers with a decimal point in any style.

    Text that would not survive as it is stands as a JSON string in double quotes; None is
    nothing at all.
    """
    return "".join(f"# {key}: {_value(value)}".rstrip() + "\n" for key, value in values.items())


def _field(value: Field, style: Style) -> str:
    if value is None:
        return ""
    if isinstance(value, str) and not isinstance(value, Digits):
        return as_text(value)
    return str(value).replace(".", ",") if style.decimal_comma else str(value)


def _value(value: Field) -> str:
    if value is None:
        return ""
    text = str(value)
    if text and text == text.strip() and text.isprintable() and text[0] != '"':
        if not _HIDDEN_FORMULA.search(text):
            return text
    return json.dumps(text).replace(",", "\\u002c").replace(";", "\\u003b")
