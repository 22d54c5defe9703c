# SPDX-License-Identifier: MIT
"""What happens to a drawer, one document each: the drawer is nothing but these, one after another.

Figures are none of them: a run is named by its record's id, and its figures stand in the log.
"""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

SCHEMA = "sagline-drawer-1"


class _Event(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Opened(_Event):
    """The drawer begins. `log` is the file that its runs are kept in."""

    what: Literal["opened"] = "opened"
    schema_: Literal["sagline-drawer-1"] = Field(SCHEMA, alias="schema")
    at: datetime
    log: str
    simulated: bool
    first_label: str
    designation: str | None
    load_ohm: float | None
    temperature_c: float | None
    operator: str | None


class Begun(_Event):
    """A run of the cell of this label has been planned, and is in the log from now on."""

    what: Literal["begun"] = "begun"
    label: str
    designation: str | None
    record_id: str


class Done(_Event):
    """The run has a result."""

    what: Literal["done"] = "done"
    record_id: str


class Missed(_Event):
    """No figure came of it: why, in a word for programs and in words; volts where it had some.

    `again`: what is put in next is the same cell, of the same label.
    """

    what: Literal["missed"] = "missed"
    label: str
    designation: str | None
    code: str
    reason: str
    open_v: float | None = None
    again: bool = False


class NextLabel(_Event):
    """The next cell is to have this label."""

    what: Literal["next_label"] = "next_label"
    label: str


class Again(_Event):
    """What is measured next is the cell of this label once more, turned in its holder."""

    what: Literal["again"] = "again"
    label: str


class Relabelled(_Event):
    """The row of one label has another from now on."""

    what: Literal["relabelled"] = "relabelled"
    label: str
    new: str


class Designated(_Event):
    """Cells are of this designation from now on."""

    what: Literal["designated"] = "designated"
    designation: str | None


class TakenBack(_Event):
    """The event of this number, counted from 0, and what belongs to it count no more."""

    what: Literal["taken_back"] = "taken_back"
    number: int = Field(ge=1)


Event = Opened | Begun | Done | Missed | NextLabel | Again | Relabelled | Designated | TakenBack
READER: TypeAdapter[Event] = TypeAdapter(Annotated[Event, Field(discriminator="what")])
