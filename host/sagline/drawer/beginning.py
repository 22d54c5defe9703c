# SPDX-License-Identifier: MIT
"""A drawer begun, or gone on with: what is asked for, and the file and figures that come of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from sagline.drawer import acts, journal
from sagline.drawer.events import SCHEMA, Opened
from sagline.drawer.figures import Figures, read_figures
from sagline.drawer.journal import Journal
from sagline.drawer.labels import FIRST
from sagline.errors import UsageError
from sagline.log.store import Log
from sagline.plaintext import plain_text

if TYPE_CHECKING:
    from sagline.device.rig import Rig


@dataclass(frozen=True)
class Ask:
    """What one asks of a drawer; `resume` names one to go on with, in place of all the rest."""

    name: str | None = None
    resume: str | None = None
    first_label: str = FIRST
    designation: str | None = None
    load_ohm: float | None = None
    temperature_c: float | None = None
    operator: str | None = None
    log: Path | None = None


def begin(rig: Rig, ask: Ask) -> Journal:
    """Return the drawer that is asked for, made or read. Raises UsageError, NotStored, LogError."""
    from sagline.device.settings import Settings
    from sagline.log.choice import usual_log

    if rig.is_replay:
        raise UsageError(
            "nothing_measured", "A recording played again measures no cells.", "Name a rig."
        )
    if ask.resume is not None:
        found = journal.read(ask.resume)
        opened = found.drawer.opened
        if opened.simulated != rig.is_virtual:
            kind = "a simulated rig" if opened.simulated else "a rig of metal"
            raise UsageError(
                "another_kind",
                f"The drawer {found.name} was begun at {kind}.",
                "Go on with it there, or begin another one.",
            )
        acts.heal(found)
        return found
    # Whatever no run could be asked for is refused before anything is written.
    settings = Settings(
        load_ohm=ask.load_ohm,
        designation=ask.designation,
        label=ask.first_label,
        operator=ask.operator,
        temperature_c=ask.temperature_c,
    )
    opened = Opened(
        schema=SCHEMA,
        at=datetime.now(UTC),
        log=str((ask.log or usual_log(demo=rig.is_virtual)).absolute()),
        simulated=rig.is_virtual,
        first_label=plain_text("label", ask.first_label) or FIRST,
        designation=acts.known_designation(settings.designation),
        load_ohm=ask.load_ohm,
        temperature_c=ask.temperature_c,
        operator=settings.operator,
    )
    return journal.create(ask.name, opened)


def figures_in(found: Journal) -> dict[str, Figures]:
    """Return the figures of the drawer's runs. Raises LogError."""
    ids = [one for cell in found.drawer.cells for one in cell.done_ids]
    if not ids:
        return {}
    with Log(Path(found.drawer.opened.log)) as log:
        return read_figures(log, ids)


def references_for(found: Journal) -> dict[str, Figures]:
    """Return the figures of each designation's own reference that the drawer's log has.

    Raises LogError, UsageError where the references cannot be read.
    """
    from sagline.drawer import references
    from sagline.log.opening import LogError

    opened = found.drawer.opened
    chosen = references.read(simulated=opened.simulated)
    if not chosen:
        return {}
    known: dict[str, Figures] = {}
    try:
        with Log(Path(opened.log)) as log:
            for designation, record_id in chosen.items():
                try:
                    for one in read_figures(log, [record_id]).values():
                        known[designation] = one
                except LogError as error:
                    # Another log has it: there is nothing to compare with in this one.
                    if error.code != "unknown_id":
                        raise
    except LogError as error:
        # Nothing has been measured into it yet.
        if error.code != "no_log":
            raise
    return known
