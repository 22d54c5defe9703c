# SPDX-License-Identifier: MIT
"""S-expressions as KiCad writes them: lists, bare words and quoted strings."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

_TOKEN = re.compile(r'\s*(?:(\()|(\))|"((?:[^"\\]|\\.)*)"|([^\s()"]+))')

Expression = list["Expression | str"]
"""What was read: words and lists of them."""

Written = list[Any]
"""What is to be written: words, quoted strings, numbers and lists of them."""


class Quoted(str):
    """A string that stands in quotes."""


def read(text: str) -> Expression:
    """The one expression that `text` holds. Raises ValueError where it is not one."""
    stack: list[Expression] = [[]]
    at = 0
    text = text.rstrip()
    while at < len(text):
        token = _TOKEN.match(text, at)
        if token is None:
            raise ValueError(f"no token at {at}: {text[at : at + 20]!r}")
        at = token.end()
        opening, closing, quoted, word = token.groups()
        if opening:
            stack.append([])
        elif closing:
            if len(stack) < 2:
                raise ValueError(f"a closing bracket too many at {at}")
            done = stack.pop()
            stack[-1].append(done)
        elif quoted is not None:
            stack[-1].append(Quoted(quoted.replace('\\"', '"').replace("\\\\", "\\")))
        else:
            stack[-1].append(word)
    if len(stack) != 1 or len(stack[0]) != 1 or not isinstance(stack[0][0], list):
        raise ValueError("not one whole expression")
    return stack[0][0]


def write(expression: object, depth: int = 0) -> str:
    """Text of nested lists: one line where an expression is short, a line an item where not."""
    if isinstance(expression, Quoted):
        return '"' + expression.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(expression, bool):
        raise TypeError("KiCad writes yes and no")
    if isinstance(expression, (int, float)):
        return number(expression)
    if isinstance(expression, str):
        return expression
    if not isinstance(expression, (list, tuple)):
        raise TypeError(f"nothing to write of {expression!r}")
    items = [write(item, depth + 1) for item in expression]
    line = "(" + " ".join(items) + ")"
    if len(line) + 2 * depth <= 100 and "\n" not in line:
        return line
    head = 1
    while head < len(expression) and not isinstance(expression[head], (list, tuple)):
        head += 1
    inner = "\n" + "  " * (depth + 1)
    return "(" + " ".join(items[:head]) + "".join(inner + item for item in items[head:]) + ")"


def number(value: float) -> str:
    """A number of millimetres or degrees: at most four decimals, none that mean nothing."""
    return f"{value:.4f}".rstrip("0").rstrip(".") if value else "0"


def every(expression: Sequence[object], name: str) -> Iterator[Expression]:
    """The lists directly inside that begin with `name`."""
    for item in expression:
        if isinstance(item, list) and item and item[0] == name:
            yield item


def first(expression: Sequence[object], name: str) -> Expression:
    """The first of them. Raises KeyError where there is none."""
    for item in every(expression, name):
        return item
    raise KeyError(name)


def numbers(expression: Sequence[object]) -> list[float]:
    """Its numbers after its name."""
    return [float(item) for item in expression[1:] if isinstance(item, str)]
