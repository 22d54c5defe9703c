# SPDX-License-Identifier: MIT
"""A plan for many cells: short rests and few repeats, for less time a cell and a wider U."""

from dataclasses import dataclass, fields

from sagline.analysis.plan import ON_MS, Plan
from sagline.analysis.values import AnalysisError, Notice

REPEATS = 3
"""Three leave two degrees of freedom; two would leave one, and a factor of 12.7."""

REST_MS, RECOVERY_MS = 1200, 800
"""The last second of a rest is what is read; recovery outlasts the pulse."""


@dataclass(frozen=True)
class QuickPlan(Plan):
    """A plan whose rests are those of its record alone."""

    @property
    def resting_ms(self) -> int:
        """How long the cell rests before each step."""
        return self.rest_ms

    @property
    def notice(self) -> Notice:
        """What must be said with its figures."""
        return Notice(
            "quick_plan",
            f"a quick plan: {self.repeats} repeats with {self.rest_ms / 1000:g} s of rest before "
            "each, so U is wider than it need be",
            "measure the cell on Bench, or with `sagline measure`, for the usual rests and repeats",
        )


def quick(plan: Plan) -> QuickPlan:
    """Return `plan` with short rests. Raises AnalysisError for pulses that need longer ones."""
    if plan.on_ms > ON_MS:
        raise AnalysisError(
            "time_not_quick",
            f"a load of {plan.on_ms / 1000:g} s leaves no room for a quick plan",
            f"ask for times within {ON_MS / 2000:g} s, or measure without haste",
        )
    values = {field.name: getattr(plan, field.name) for field in fields(Plan)}
    values |= {"rest_ms": REST_MS, "recovery_ms": RECOVERY_MS}
    return QuickPlan(**values)
