# SPDX-License-Identifier: MIT
"""Steps that are hard on an estimator, and what is then reported against the truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

from analysis.analytic_cell import PROFILE, WIDE_PROFILE
from plant import measured
from plant.cells import CELLS, PlantCell
from plant.decks import PERIOD_S, REST_S
from plant.recorder import NOTHING, Extras
from sagline.analysis.estimate import estimate
from sagline.analysis.values import AnalysisError, Quantity
from sagline_board.profile import ADS1115, ONBOARD

HEADLINE_S = 0.1


@dataclass(frozen=True)
class Case:
    """One awkward step: on `converter`, the others recorded beside it in `recorded`.

    `bias` is what a perfect board may be off (of r(0.1 s)), None where only intervals count;
    `says` are the codes of which one must be said, by a notice or a refusal.
    """

    name: str
    cell: PlantCell
    extras: Extras = NOTHING
    converter: int = ADS1115
    recorded: tuple[int, ...] = (ONBOARD, ADS1115)
    e11: bool = False
    bias: float | None = 0.003
    says: tuple[str, ...] = ()


@dataclass(frozen=True)
class Report:
    """What was said of one run: the refusal's code, or figures, beside the truth.

    `error` and `u` are relative; `reach` is how far the truth lies from the value, in shares
    of the interval on that side. Names with `first` belong to r at t_f, the rest to r(0.1 s).
    """

    case: str
    seed: int | None
    refused: str | None
    truth_ohm: float
    r_ohm: float | None = None
    error: float | None = None
    u: float | None = None
    reach: float | None = None
    first_s: float | None = None
    first_error: float | None = None
    first_u: float | None = None
    first_reach: float | None = None
    rejected: int = 0
    notices: tuple[str, ...] = ()

    def said(self, codes: Sequence[str]) -> bool:
        """Whether one of these codes was said, by a notice or the refusal."""
        return self.refused in codes or any(code in self.notices for code in codes)

    @property
    def held(self) -> bool:
        """Whether the interval of r(0.1 s) holds the truth."""
        return self.reach is not None and abs(self.reach) <= 1.0

    @property
    def first_held(self) -> bool:
        """Whether that of r(t_f) does."""
        return self.first_reach is not None and abs(self.first_reach) <= 1.0


_LR6, _CR2032, _6LR61 = CELLS["LR6"], CELLS["CR2032"], CELLS["6LR61"]
_HIDDEN = replace(_LR6, pairs=((0.05, 1e-3), *_LR6.pairs[1:]))
# The film's ohms at the first instant; the charge passes in about 0.1 s (6.5 mA and 0.43 A).
_PASSIVATED = replace(_CR2032, film_ohm=15.0, film_c=6e-4, film_s=0.8)
_IMPROVING = replace(_LR6, film_ohm=0.06, film_c=0.04, film_s=0.8)
_LEAVING = replace(_LR6, out_at_s=PERIOD_S + REST_S + 0.1)
_FAST = Extras(drift_v_per_s=-2e-3)

CASES = {
    case.name: case
    for case in (
        Case("mains 50 Hz", _LR6, Extras(mains_v=0.005, mains_hz=50.0)),
        Case("mains 60 Hz", _LR6, Extras(mains_v=0.005, mains_hz=60.0)),
        Case("hidden 1 ms (ADS1115 alone)", _HIDDEN, recorded=(ADS1115,)),
        Case("hidden 1 ms (both)", _HIDDEN),
        Case("hidden 1 ms (on-board alone)", _HIDDEN, converter=ONBOARD, recorded=(ONBOARD,)),
        Case("voltage delay", _PASSIVATED, bias=0.01, says=("unusual_course",)),
        Case("contact improving", _IMPROVING, bias=0.01),
        Case("load heating", replace(_LR6, load_heats_per_s=0.003)),
        Case("rest drift 0.2 mV/s", _LR6, Extras(drift_v_per_s=-2e-4)),
        Case("rest drift 2 mV/s", _LR6, _FAST, bias=0.005, says=("rest_drift",)),
        Case("out in mid-step", _LEAVING, says=("repeat_rejected",)),
        Case(
            "across E11",
            replace(_6LR61, emf_v=9.55),
            converter=ONBOARD,
            e11=True,
            bias=None,
            says=("wide_code",),
        ),
    )
}


def reach(quantity: Quantity, truth: float) -> float:
    """How far the truth lies from the value, in shares of the interval on that side.

    Raises ValueError where there is no interval.
    """
    side = quantity.high95 if truth > quantity.value else quantity.low95
    if side is None:
        raise ValueError("no interval")
    return (truth - quantity.value) / abs(side - quantity.value)


@cache
def report(case: Case, seed: int | None) -> Report:
    """Measure a case on the board that `seed` draws; on a perfect one without."""
    if seed is None:
        found, steps = measured.ideal(case.cell, case.extras, case.recorded)
    else:
        found, steps = measured.drawn(
            case.cell, seed, e11=case.e11, extras=case.extras, converters=case.recorded
        )
    truth_ohm = found.r_ohm(HEADLINE_S)
    profile = WIDE_PROFILE if case.e11 else PROFILE
    try:
        result = estimate(steps, profile, case.converter, (HEADLINE_S,))
    except AnalysisError as error:
        return Report(case.name, seed, error.code, truth_ohm)
    headline = result.r_at[0][1]
    first_s, first = result.ohmic
    return Report(
        case.name,
        seed,
        None,
        truth_ohm,
        headline.value,
        *_against(headline, truth_ohm),
        first_s,
        *_against(first, found.r_ohm(first_s)),
        result.rejected,
        tuple(notice.code for notice in result.notices),
    )


def _against(found: Quantity, truth: float) -> tuple[float, float | None, float | None]:
    """Relative error and U, and the reach of the truth."""
    error = found.value / truth - 1.0
    if found.low95 is None or found.high95 is None:
        return error, None, None
    return error, (found.high95 - found.low95) / 2.0 / found.value, reach(found, truth)
