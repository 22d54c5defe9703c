# SPDX-License-Identifier: MIT
"""What a self-test found, as one JSON document and as a report card in words."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

SELFTEST_SCHEMA = "sagline-selftest-1"
Verdict = Literal["good", "note", "bad", "skipped"]
_MARKS = {"good": "ok", "note": "note", "bad": "BAD", "skipped": "-"}


class Check(BaseModel):
    """One thing that was looked at; `remedy` is empty where nothing is to be done."""

    model_config = ConfigDict(frozen=True)

    name: str
    verdict: Verdict
    found: str
    remedy: str = ""


class Card(BaseModel):
    """All checks of one rig, in the order in which they were made."""

    model_config = ConfigDict(frozen=True, populate_by_name=True)

    schema_: Literal["sagline-selftest-1"] = Field(SELFTEST_SCHEMA, alias="schema")
    made_at: datetime
    rig: str
    model: str
    serial: str
    firmware: str
    with_cell: bool
    checks: list[Check]

    @property
    def passed(self) -> bool:
        """Whether nothing is bad."""
        return all(check.verdict != "bad" for check in self.checks)


def line_of(check: Check) -> str:
    """A check in one line, and what to do in another."""
    text = f"{_MARKS[check.verdict]:<5} {check.name}: {check.found}"
    return text + (f"\n      {check.remedy}" if check.remedy else "")


def summary_of(card: Card) -> str:
    """The last line of the card."""
    bad = sum(check.verdict == "bad" for check in card.checks)
    if not bad:
        more = "" if card.with_cell else " Then put a cell in and run it with --cell."
        return f"{card.model} {card.serial}: nothing is wrong that this can see.{more}"
    return f"{card.model} {card.serial}: {bad} of {len(card.checks)} checks failed."
