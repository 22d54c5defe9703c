# SPDX-License-Identifier: MIT
"""The figures of a drawer's runs, as the log has them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sagline.analysis.comparison import Candidate
from sagline.designations import find
from sagline.wording import expanded

if TYPE_CHECKING:
    from sagline.anyrecord import AnyRecord
    from sagline.log.store import Log
    from sagline.results import Result


@dataclass(frozen=True)
class Figures:
    """One run's E (V) and r (ohm) with U at 95 %, and all that a comparison asks of it."""

    emf_v: float | None
    emf_u95_v: float | None
    candidate: Candidate
    simulated: bool = False

    @property
    def r_ohm(self) -> float:
        """r at the run's first time."""
        return self.candidate.r_ohm

    @property
    def u95_ohm(self) -> float | None:
        """U of r at 95 %, None where it is not known."""
        return self.candidate.u95_ohm

    @property
    def conditions(self) -> tuple[float | None, float | None]:
        """What r of different cells must have in common: load (ohm) and time (s).

        Of the load two digits: they tell loads apart, and leave out how warm one was.
        """
        load_ohm = self.candidate.load_ohm
        return None if load_ohm is None else float(f"{load_ohm:.2g}"), self.candidate.t_s


def figures_of(record_id: str, result: Result, name: str, designation: str | None) -> Figures:
    """Return the figures of a result under this name."""
    known = None if designation is None else find(designation)
    r = result.r_ohm
    return Figures(
        emf_v=None if result.emf_v is None else result.emf_v.value,
        emf_u95_v=None if result.emf_v is None else expanded(result.emf_v),
        candidate=Candidate(
            id=record_id,
            name=name,
            r_ohm=r.value,
            u95_ohm=expanded(r),
            t_s=r.t_s,
            load_ohm=None if result.load_ohm is None else result.load_ohm.value,
            temperature_c=result.conditions.temperature_c,
            chemistry=None if known is None else known.chemistry,
            rig=result.rig,
            method=result.method,
        ),
        simulated=result.kind == "virtual",
    )


def read_figures(log: Log, record_ids: Iterable[str]) -> dict[str, Figures]:
    """Return the figures of those of these runs that have any and are not deleted.

    Raises LogError where the log cannot be read or lacks one of them.
    """
    found: dict[str, Figures] = {}
    for record_id in record_ids:
        record: AnyRecord = log.any_record(record_id)
        result = record.main_of(log.results(record_id))
        if result is not None and not log.is_deleted(record_id):
            name = record.label or record_id[-8:]
            found[record_id] = figures_of(record_id, result, name, record.designation)
    return found
