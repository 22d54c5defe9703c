# SPDX-License-Identifier: MIT
"""The arithmetic of a coverage study: from draws to rows, and what of them is out of bounds."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from bench.draws import Draw, Figure

LEVEL = 0.95
OVERALL = 0.01
"""How far the coverage of all draws together may be from LEVEL."""
SDS = 3.0
"""A row may be off by so many standard deviations; so may all draws where they are few."""
BIAS_IN_U = 0.1
QUANTITIES = {"emf": "E", "r": "r(0.1 s)", "ohmic": "r(t_f)"}
QUANTILES = (0.025, 0.16, 0.5, 0.84, 0.975)


@dataclass(frozen=True)
class Cover:
    """What the intervals of one quantity came to.

    `half_rel` is the mean of half the interval over the truth; `bias`, `sd` and `worst` are
    the mean, the standard deviation and the largest size of z = (figure − truth)/u, and
    `quantiles` its quantiles at QUANTILES.
    """

    n: int
    inside: int
    half_rel: float
    bias: float
    sd: float
    worst: float
    quantiles: tuple[float, ...]

    @classmethod
    def of(cls, figures: Sequence[Figure]) -> "Cover | None":
        """Return the cover of `figures`, None for none."""
        if not figures:
            return None
        low, high, true, value, u = (
            np.array([getattr(figure, name) for figure in figures])
            for name in ("low95", "high95", "truth", "value", "u")
        )
        z = (value - true) / u
        return cls(
            n=len(figures),
            inside=int(np.sum((low <= true) & (true <= high))),
            half_rel=float(np.mean((high - low) / 2.0 / np.abs(true))),
            bias=float(z.mean()),
            sd=float(z.std(ddof=1)) if len(figures) > 1 else 0.0,
            worst=float(np.abs(z).max()),
            quantiles=tuple(float(q) for q in np.quantile(z, QUANTILES)),
        )

    @property
    def share(self) -> float:
        """How often the interval held the truth."""
        return self.inside / self.n

    @property
    def share_sd(self) -> float:
        """Standard deviation of `share`, were the coverage LEVEL (binomial)."""
        return sqrt(LEVEL * (1.0 - LEVEL) / self.n)

    @property
    def bias_sd(self) -> float:
        """Standard deviation of `bias`; a few errors tell too little of their own spread."""
        return max(1.0, self.sd) / sqrt(self.n)

    def wrong(self, allowed: float = 0.0) -> list[str]:
        """What is out of bounds, in words; `allowed` is for the share, beside its own chance."""
        said = []
        if abs(self.share - LEVEL) > max(allowed, SDS * self.share_sd):
            said.append(f"covered in {self.share:.1%} of {self.n}: {self.reading()}")
        if abs(self.bias) > max(BIAS_IN_U, SDS * self.bias_sd):
            said.append(f"mean error {self.bias:+.2f} u ± {self.bias_sd:.2f}")
        return said

    def reading(self) -> str:
        """What ails an interval that covers too often or too seldom, as far as z tells."""
        if self.share > LEVEL:
            return f"too wide, s.d. of the error {self.sd:.2f} u"
        # Errors of s.d. 1 u about a bias of 0.45 u are held in 93 %.
        if abs(self.bias) > 0.45 * max(1.0, self.sd):
            return f"biased by {self.bias:+.2f} u"
        if self.worst > 3.0 * self.sd and self.sd < 1.2:
            return f"long tails, worst {self.worst:.1f} u of a s.d. of {self.sd:.2f} u"
        return f"too narrow, s.d. of the error {self.sd:.2f} u"


@dataclass(frozen=True)
class Row:
    """Draws of one kind: `key` says which; `covers` by quantity, None where there is none.

    The budgets are mean shares of u² by source, the largest first.
    """

    key: tuple[str, ...]
    draws: int
    covers: dict[str, Cover | None]
    refusals: dict[str, int]
    r_budget: dict[str, float]
    emf_budget: dict[str, float]

    @classmethod
    def of(cls, key: tuple[str, ...], draws: Sequence[Draw]) -> "Row":
        """Return the row of `draws`."""
        return cls(
            key=key,
            draws=len(draws),
            covers={
                name: Cover.of([f for draw in draws if (f := getattr(draw, name)) is not None])
                for name in QUANTITIES
            },
            refusals=dict(Counter(draw.refused for draw in draws if draw.refused).most_common()),
            r_budget=_mean_shares([draw.r_budget for draw in draws if draw.r_budget]),
            emf_budget=_mean_shares([draw.emf_budget for draw in draws if draw.emf_budget]),
        )

    def wrong(self, allowed: float = 0.0) -> list[str]:
        """What is out of bounds, in words."""
        said = [
            f"{' '.join(self.key)}: {QUANTITIES[name]} {words}"
            for name, cover in self.covers.items()
            if cover is not None
            for words in cover.wrong(allowed)
        ]
        crashes = {code: n for code, n in self.refusals.items() if code.startswith("crash")}
        said += [f"{' '.join(self.key)}: {n} × {code}" for code, n in crashes.items()]
        return said


def _mean_shares(budgets: Sequence[dict[str, float]]) -> dict[str, float]:
    sums: Counter[str] = Counter()
    for budget in budgets:
        sums.update(budget)
    return {source: total / len(budgets) for source, total in sums.most_common()}


def rows_of(draws: Iterable[Draw], by: Sequence[str]) -> list[Row]:
    """One row for each set of values of the fields `by`, in the order of their first draw."""
    kinds: dict[tuple[str, ...], list[Draw]] = {}
    for draw in sorted(draws, key=lambda draw: draw.number):
        kinds.setdefault(tuple(f"{getattr(draw, name)}" for name in by), []).append(draw)
    return [Row.of(key, of_kind) for key, of_kind in kinds.items()]


def overall_of(draws: Iterable[Draw]) -> Row:
    """All draws as one row."""
    return Row.of(("all",), list(draws))


def wrong(rows: Iterable[Row], overall: Row) -> list[str]:
    """Every bound that is broken, in words."""
    return [*overall.wrong(OVERALL), *(said for row in rows for said in row.wrong())]
