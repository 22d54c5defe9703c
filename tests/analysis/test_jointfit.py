# SPDX-License-Identifier: MIT
"""The joint fit: right at every time, for every course a passive cell can take, and honest."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.optimize import curve_fit

from analysis.analytic_cell import PROFILE, Cell, Rig, make_step
from analysis.any_course import AnyCourse, both, with_hum
from sagline.analysis import jointfit
from sagline.analysis.current import Current
from sagline.analysis.estimate import estimate
from sagline.analysis.mains import find
from sagline.analysis.rows import Front, rows_of
from sagline.analysis.values import Estimate, RawStep

LOOP_OHM = sum(Rig().loop_ohm(0))
NOISE = {0: 0.5, 1: 0.5, 2: 0.5}


def rows(raws: list[RawStep], converter: int = 1) -> list[Any]:
    return [
        rows_of(raw, PROFILE, converter, Current(raw, PROFILE, converter), NOISE, False)
        for raw in raws
    ]


def made(front: str, cell: Any, rng: np.random.Generator | None, **options: Any) -> RawStep:
    if front == "both":
        return both(cell, rng, **options)
    return make_step(cell, converter=int(front == "ads1115"), rng=rng, **options)


def codes(found: Estimate) -> set[str]:
    return {notice.code for notice in found.notices}


def diffusion(t_s: Any) -> Any:
    return 0.11 + 0.03 * np.sqrt(t_s)


def three_pairs(t_s: Any) -> Any:
    pairs = ((0.018, 0.0015), (0.024, 0.03), (0.05, 1.2))
    return 0.11 + sum(ohm * -np.expm1(-t_s / tau) for ohm, tau in pairs)


@pytest.mark.parametrize("course", [diffusion, three_pairs])
@pytest.mark.parametrize("front", ["ads1115", "onboard"])
def test_without_noise_r_is_right_at_every_time(course: Callable[..., Any], front: str) -> None:
    cell = AnyCourse(course)
    raws = [made(front, cell, None, rounded=False, rest_s=1.0) for _ in range(2)]
    found = estimate(raws, PROFILE, int(front != "onboard"), (0.1, 0.02, 0.28))
    assert found.ohmic[0] == (4e-3 if front == "ads1115" else 1e-4)
    for t_s, figure in found.r_at:
        assert figure.value == pytest.approx(cell.r_at(t_s), rel=3e-3), t_s
    assert found.emf.value == pytest.approx(1.58, abs=1e-5)


@pytest.mark.parametrize("course", [diffusion, three_pairs])
def test_both_converters_together_are_right_on_the_average(course: Callable[..., Any]) -> None:
    """Their weights mean something with their own noise: eight runs, three s.d. of the mean."""
    cell = AnyCourse(course)
    runs = [
        estimate([both(cell, np.random.default_rng([seed, n]), rest_s=1.0) for n in range(5)],
                 PROFILE, 1, (0.1, 0.02))
        for seed in range(8)
    ]  # fmt: skip
    for index, (t_s, _) in enumerate(runs[0].r_at):
        values = np.array([run.r_at[index][1].value for run in runs])
        bound = 3.0 * values.std(ddof=1) / np.sqrt(8)
        assert abs(values.mean() - cell.r_at(t_s)) < max(bound, 1e-3 * cell.r_at(t_s)), t_s
        assert bound < (0.05 if t_s < 1e-3 else 0.004) * cell.r_at(t_s)


def test_weights_give_r_and_see_neither_offset_nor_drift() -> None:
    rng = np.random.default_rng(2)
    raws = [make_step(Cell(1.58, 0.12, 0.05, 0.2), rng=rng, rest_s=1.0) for _ in range(3)]
    for one in jointfit.fit(rows(raws), (0.1, 0.02), 4e-3, 0.3, None).repeats:
        assert one.weights @ one.rows.v == pytest.approx(one.r_ohm, rel=1e-9)
        # In ohms: a volt of offset or a volt a second moves r by nothing.
        assert one.weights.sum(axis=1) == pytest.approx(0.0, abs=1e-7)
        assert one.weights @ one.rows.middle_s == pytest.approx(0.0, abs=1e-7)
        # And r of 1 ohm at every time is told as 1 ohm.
        assert one.weights @ -one.rows.current_a == pytest.approx(1.0, abs=1e-7)


def test_it_agrees_with_a_fit_that_knows_the_cell() -> None:
    """scipy's curve_fit with the pair's own exponential, on the same readings."""
    cell = Cell(1.58, 0.12, 0.05, 0.2)
    rng = np.random.default_rng(5)
    raws = [make_step(cell, rng=rng, rest_s=1.0) for _ in range(5)]
    # The pair relaxes into the load at this rate (closed form of the analytic cell).
    rate = 1.0 / ((cell.ohmic_ohm + LOOP_OHM) * cell.tau_s / cell.pair_ohm) + 1.0 / cell.tau_s
    known = []
    for one in rows(raws):

        def model(index: Any, e: float, d: float, r0: float, a: float, one: Any = one) -> Any:
            index = index.astype(int)
            t_s = one.middle_s[index]
            r = r0 + a * -np.expm1(-rate * np.maximum(t_s, 0.0))
            return e + d * t_s - one.current_a[index] * r

        (_, _, r0, a), _ = curve_fit(
            model, np.arange(one.v.size), one.v, p0=[1.5, 0.0, 0.1, 0.1], sigma=one.u_v
        )
        known.append(r0 + a * -np.expm1(-rate * 0.1))
    found = jointfit.fit(rows(raws), (0.1,), 4e-3, 0.3, None)
    ours = [float(one.r_ohm[0]) for one in found.repeats]
    spread = np.std(known, ddof=1)
    assert np.mean(ours) == pytest.approx(np.mean(known), abs=1.5 * spread)
    assert np.std(ours, ddof=1) < 2.0 * spread


def test_the_converter_beside_brings_the_first_milliseconds_and_not_its_scale() -> None:
    """An on-board converter 2 % off in scale and 3 codes in offset moves r(t) by nothing much."""
    cell = AnyCourse(three_pairs)
    raws = [both(cell, np.random.default_rng(seed), rest_s=1.0) for seed in range(5)]
    beside = raws[0].source < 4
    bent = [
        RawStep(
            raw.source, raw.start_us, raw.length_us, raw.n,
            np.where(beside, np.rint(1.02 * raw.total + 3.0 * raw.n), raw.total).astype(np.int64),
            raw.edges_us, raw.load, raw.range_high, raw.segments,
        )
        for raw in raws
    ]  # fmt: skip
    straight, crooked = (estimate(steps, PROFILE, 1) for steps in (raws, bent))
    assert crooked.r_at[0][1].value == pytest.approx(straight.r_at[0][1].value, rel=5e-4)
    assert crooked.ohmic[1].value == pytest.approx(straight.ohmic[1].value, rel=5e-3)
    assert straight.ohmic[1].value == pytest.approx(cell.r_at(1e-4), rel=0.02)


@pytest.mark.parametrize("hz", [50.0, 59.93])
@pytest.mark.parametrize("front", ["ads1115", "both"])
def test_hum_is_found_and_taken_out(hz: float, front: str) -> None:
    cell = AnyCourse(three_pairs)
    rng = np.random.default_rng(8)
    raws = [
        with_hum(made(front, cell, rng, rest_s=1.0), hz, 5e-3, phase)
        for phase in rng.uniform(0.0, 6.28, 5)
    ]
    hum = find(rows(raws))
    assert hum is not None and hum.hz == pytest.approx(hz, abs=0.05)
    found = estimate(raws, PROFILE, 1)
    assert "mains_hum" in codes(found)
    assert found.r_at[0][1].value == pytest.approx(cell.r_at(0.1), rel=5e-3)


def test_no_hum_is_seen_in_noise() -> None:
    rng = np.random.default_rng(4)
    for _ in range(20):
        raws = [make_step(Cell(1.58, 0.12), rng=rng, rest_s=1.0) for _ in range(3)]
        assert find(rows(raws)) is None


@pytest.mark.parametrize(
    "course",
    [
        lambda t_s: 0.16 + 0.06 * np.exp(-t_s / 0.08),  # a voltage that recovers under load
        lambda t_s: 0.16 - 0.04 / (1.0 + np.exp(-(t_s - 0.12) / 0.02)),  # a contact that improves
    ],
    ids=["delay", "contact"],
)
def test_where_r_falls_the_fit_stands_back(course: Callable[..., Any]) -> None:
    cell = AnyCourse(course)
    rng = np.random.default_rng(6)
    found = estimate([made("ads1115", cell, rng, rest_s=1.0) for _ in range(5)], PROFILE, 1)
    assert "unusual_course" in codes(found) and found.start_ohm is None
    r = found.r_at[0][1]
    assert r.low95 is not None and r.high95 is not None
    assert r.low95 <= cell.r_at(0.1) <= r.high95


def test_where_r_rises_it_does_not() -> None:
    for seed in range(10):
        rng = np.random.default_rng(seed)
        cell, rig = AnyCourse(three_pairs), Rig.drawn(rng, 1, 0)
        raws = [made("ads1115", cell, rng, rest_s=1.0, rig=rig) for _ in range(5)]
        assert "unusual_course" not in codes(estimate(raws, PROFILE, 1))


def test_rows_hold_every_front_end_at_its_time() -> None:
    raw = both(Cell(1.58, 0.12), None, rest_s=1.0)
    one = rows([raw])[0]
    assert one.is_from(Front.LEVEL).sum() > 100 and one.is_from(Front.BESIDE).sum() > 50
    loaded = one.loaded
    assert np.all(one.current_a[~loaded] == 0.0)
    # 1.28 V behind 0.12 ohm, the load, its switch and the leads.
    assert one.current_a[loaded] == pytest.approx(1.28 / (0.12 + LOOP_OHM), rel=2e-3)
    # The first 50 us after the edge are still settling.
    beside = one.is_from(Front.BESIDE) & loaded
    assert one.start_s[beside].min() >= 49.9e-6
