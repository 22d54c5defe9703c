# SPDX-License-Identifier: MIT
"""What the records of all kinds have in common: a rig's run, readings taken by hand, and others.

A record is what was measured, whole and unchanged for ever; figures are results. Which class
a kind is read with stands in `kinds.py`, what computes it in `computing.py`.
"""

from abc import abstractmethod
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any, ClassVar, Literal, Self

from pydantic import BaseModel, ConfigDict, Field

from sagline.results import Kind, Result, Warning_

if TYPE_CHECKING:
    from sagline.records import StepRecord


class Strict(BaseModel):
    """A part of a record: nothing unknown in it, no infinite number, never changed."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        allow_inf_nan=False,
        json_schema_serialization_defaults_required=True,
    )


class Ending(Strict):
    """How the run ended. A rig's run without one was interrupted.

    `code` is that of the error where `how` is failed; `remarks` must be said with every figure.
    """

    at: datetime
    how: Literal["complete", "stopped", "failed"]
    code: str | None
    remarks: list[Warning_]


class AnyRecord(Strict):
    """The beginning of every record; each kind narrows `schema_` to a name of its own.

    What a kind does not override is that of a record that is put down at once and whole.
    """

    METHOD: ClassVar[str]
    """The name of the method by which records of this kind are computed now."""

    schema_: Any = Field(None, alias="schema")
    id: str
    kind: Kind
    started_at: datetime
    label: str | None
    designation: str | None
    operator: str | None
    temperature_c: float | None
    sagline: str

    @property
    @abstractmethod
    def rig_name(self) -> str:
        """What measured, as lists and tables name it."""

    @abstractmethod
    def about(self) -> Sequence[tuple[str, str | None]]:
        """Return what was done, as names of up to 9 letters and words, for a person."""

    @property
    def asked_times_s(self) -> list[float] | None:
        """The times (s) after load on that r was asked for; None where none can be chosen."""
        return None

    @property
    def load_ohm(self) -> float | None:
        """The load as planned or given, ohms; None where it is not one, or not known."""
        return None

    @property
    def nothing_measured(self) -> bool:
        """Whether it ended before there was anything to compute."""
        return False

    @property
    def repeats_measured(self) -> int:
        """How many repeats it holds."""
        return len(self.kept_steps)

    @property
    def state(self) -> str:
        """complete, stopped, failed, or interrupted where nobody could say so."""
        ending = self.kept_ending
        return "interrupted" if ending is None else ending.how

    @property
    def kept_steps(self) -> Sequence["StepRecord"]:
        """What the log keeps row by row beside the rest of the record."""
        return ()

    @property
    def kept_ending(self) -> Ending | None:
        """How it ended, which the log keeps in a row of its own."""
        return Ending(at=self.started_at, how="complete", code=None, remarks=[])

    def with_kept(self, steps: "Sequence[StepRecord]", ending: Ending | None) -> Self:
        """Return the record with these steps and this ending, where its kind has such."""
        return self

    def main_of(self, results: Sequence[Result]) -> Result | None:
        """Return the newest of the record's results at the times asked for, else the newest."""
        times_s = self.asked_times_s
        asked = [] if times_s is None else [one for one in results if one.is_at(times_s)]
        return next(reversed(asked or results), None)

    def meant(self, results: Sequence[Result], given: str) -> Result | None:
        """Return the result whose id was given, or the main one where the record's id was."""
        text = given.strip().lower()
        named = [one for one in results if one.id.startswith(text) or one.id.endswith(text)]
        whole = self.id.startswith(text) or self.id.endswith(text)
        return named[0] if len(named) == 1 and not whole else self.main_of(results)

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON document as plain dicts, lists, strings and numbers."""
        return self.model_dump(mode="json", by_alias=True)
