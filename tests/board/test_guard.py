# SPDX-License-Identifier: MIT
"""The guard's arithmetic, worked by hand, and within small integers."""

import pytest

from board.watched import Watched, watch
from sagline_board import faults, profile, volts
from sagline_board.guard import Guard, power_mw

# Joule's law by hand: 12.0 V on 3.3 ohm is 43.636 W; 0.3 s of it 13.09 J.
LOAD = {
    "load_milliohm": 3300, "max_mv": 13800, "max_ma": 4000, "max_on_ms": 1200,
    "max_pulse_mj": 50000, "mean_mw": 5000,
}  # fmt: skip


RANGE_MV = (4500, 16500)


def cold():
    return Guard((LOAD,), RANGE_MV, cold=True)


def test_power_is_v_squared_over_r():
    assert power_mw(12000, 3300) == 43636


@pytest.mark.parametrize(
    ("segments", "open_mv", "reason"),
    [
        (((0, 100), (1, 300)), 12000, faults.NO_ERROR),
        ((), 12000, faults.REFUSED_EMPTY),
        (((1, 1201),), 1500, faults.REFUSED_ON_TIME),
        (((1, 700), (0, 10), (1, 501)), 1500, faults.REFUSED_ON_TIME),
        (((1, 300),), 13801, faults.REFUSED_VOLTAGE),
        # 13.3 V on 3.3 ohm is 4.03 A.
        (((1, 300),), 13300, faults.REFUSED_CURRENT),
        # 43.636 W for 1.15 s is 50.18 J.
        (((1, 1150),), 12000, faults.REFUSED_ENERGY),
        (((0, 60000),), 16500, faults.NO_ERROR),
        (((0, 60000),), 16831, faults.REFUSED_VOLTAGE),
    ],
)
def test_refusals(segments, open_mv, reason):
    assert cold().refuse(segments, open_mv, 1) == reason


def test_after_a_reset_every_load_is_hot_and_cools_by_its_mean_rating():
    guard = Guard((LOAD,), RANGE_MV, cold=False)
    # 50 J at 5 W take 10 s to lose.
    assert guard.ready_ms() == 10000
    assert guard.refuse(((1, 300),), 12000, 1) == faults.REFUSED_HOT
    # The pulse is 13.09 J, so 13.09 J must be gone: 2.62 s.
    guard.cool(2617)
    assert guard.refuse(((1, 300),), 12000, 1) == faults.REFUSED_HOT
    guard.cool(2)
    assert guard.refuse(((1, 300),), 12000, 1) == faults.NO_ERROR
    guard.cool(10_000_000)
    assert guard.ready_ms() == 0


def test_mean_power_of_a_long_run_stays_within_the_rating():
    guard = cold()
    spent_mj = 0.0
    elapsed_ms = 0
    while elapsed_ms < 600_000:
        if guard.refuse(((1, 300),), 12000, 1) == faults.NO_ERROR:
            guard.begin_step((), 0)
            for _ in range(60):
                guard.watch(1, 5000, 12000, 1)
            assert guard.reason == faults.NO_ERROR
            spent_mj += 12.0**2 / 3.3 * 0.3 * 1000
        guard.cool(1000)
        elapsed_ms += 1000
    mean_mw = (spent_mj - LOAD["max_pulse_mj"]) / (elapsed_ms / 1000)
    assert 0.9 * LOAD["mean_mw"] < mean_mw <= LOAD["mean_mw"]


@pytest.mark.parametrize(
    ("slices", "sense_mv", "reason"),
    [
        (1, 13801, faults.TRIP_OVER_VOLTAGE),
        (1, 13300, faults.TRIP_OVER_CURRENT),
        (245, 1500, faults.TRIP_ON_TIME),
        # 43.636 W: 50 J after 1.146 s, 230 slices of 5 ms.
        (230, 12000, faults.TRIP_ENERGY),
    ],
)
def test_trips(slices, sense_mv, reason):
    guard = cold()
    guard.begin_step((), 0)
    for _ in range(slices - 1):
        guard.watch(1, 5000, sense_mv, 1)
    assert guard.reason == faults.NO_ERROR
    guard.watch(1, 5000, sense_mv, 1)
    assert guard.reason == reason
    guard.trip(faults.TRIP_CAPTURE)
    assert guard.reason == reason, "the first reason stays"
    guard.clear()
    guard.watch(0, 5000, sense_mv, 1)
    assert guard.reason == faults.NO_ERROR


def test_beyond_the_range_the_reading_is_no_voltage():
    """A converter that clips reads less than there is: refused, and tripped while loaded."""
    guard = cold()
    assert guard.refuse(((1, 300),), 4590, 0) == faults.NO_ERROR
    assert guard.refuse(((1, 300),), 4591, 0) == faults.REFUSED_VOLTAGE
    guard.begin_step((), 0)
    guard.watch(1, 5000, 4591, 0)
    assert guard.reason == faults.TRIP_OVER_VOLTAGE


def test_each_load_has_its_own_time():
    """Two loads one after the other, each within its limit, are not added up."""
    guard = Guard((LOAD, LOAD), RANGE_MV, cold=True)
    guard.begin_step((), 0)
    for mask in (1, 2):
        for _ in range(240):
            guard.watch(mask, 5000, 1500, 1)
    assert guard.reason == faults.NO_ERROR


# Ohm's law by hand: 3.3 and 15 ohm take 4.63 A together at 12.5 V, each within its own limit; at
# 13.6 V it is 5.03 A, and the blocking diode of the force path is rated for 5 A.
PAIR = (
    {**LOAD, "max_ma": 4200},
    {**LOAD, "load_milliohm": 15000, "max_mv": 16500, "max_ma": 1200},
)


@pytest.mark.parametrize(
    ("open_mv", "reason"), [(12500, faults.NO_ERROR), (13600, faults.REFUSED_CURRENT)]
)
def test_loads_together_draw_no_more_than_the_force_path_bears(open_mv, reason):
    guard = Guard(PAIR, RANGE_MV, cold=True)
    for mask in (1, 2):
        assert guard.refuse(((mask, 300),), open_mv, 1) == faults.NO_ERROR
    assert guard.refuse(((0, 100), (3, 300)), open_mv, 1) == reason
    # One after the other they are no sum.
    assert guard.refuse(((1, 300), (2, 300)), open_mv, 1) == faults.NO_ERROR


def test_it_trips_where_loads_together_draw_more_than_the_force_path_bears():
    guard = Guard(PAIR, RANGE_MV, cold=True)
    guard.begin_step((), 0)
    guard.watch(3, 5000, 12500, 1)
    guard.watch(1, 5000, 13600, 1)
    assert guard.reason == faults.NO_ERROR
    guard.watch(3, 5000, 13600, 1)
    assert guard.reason == faults.TRIP_OVER_CURRENT


def test_small_integers_suffice():
    loads = tuple({key: Watched(value) for key, value in load.items()} for load in profile.LOADS)
    guard = Guard(loads, watch(profile.RANGE_MV), cold=False)
    guard.cool(Watched(1 << 29))
    for index, load in enumerate(loads):
        mask = Watched(1 << index)
        for open_mv in (0, 1500, int(load["max_mv"]), 26000):
            guard.refuse([(mask, load["max_on_ms"])], Watched(open_mv), 1)
            guard.begin_step((), 0)
            for _ in range(int(load["max_on_ms"]) // 5):
                guard.watch(mask, Watched(5000), Watched(open_mv), 1)
            guard.clear()
            guard.cool(Watched(600_000))


@pytest.mark.parametrize("high", [0, 1])
@pytest.mark.parametrize("converter", [profile.ONBOARD, profile.ADS1115])
@pytest.mark.parametrize("channel", [profile.SENSE, profile.FORCE, profile.RETURN])
def test_millivolts_agree_with_the_circuit(high, converter, channel, monkeypatch):
    """Against Millman's theorem in floating point, over the whole span, in small integers."""
    part = profile.CHANNELS[channel]
    monkeypatch.setattr(profile, "CONVERTERS", watch(profile.CONVERTERS))
    meter = volts.Meter()
    siemens = {key: 1 / part[key] for key in ("top_ohm", "foot_ohm", "lift_ohm") if part[key]}
    if high and part["range_foot_ohm"]:
        siemens["range_foot_ohm"] = 1 / part["range_foot_ohm"]
    total_s = sum(siemens.values())
    lift_v = profile.REFERENCE["reference_uv"] * 1e-6 * siemens["lift_ohm"] / total_s
    gain = siemens["top_ohm"] / total_s
    lsb_v = profile.CONVERTERS[converter]["lsb_nv"] * 1e-9
    full = int(profile.CONVERTERS[converter]["full_code"])
    for code in range(0, full, full // 50):
        for n in (1, 8, 833):
            wanted_mv = (code * lsb_v - lift_v) / gain * 1000
            found_mv = meter.tap_mv(
                Watched(converter * 4 + channel), Watched(n), Watched(code * n), high
            )
            assert found_mv == pytest.approx(wanted_mv, rel=0.01, abs=10)
