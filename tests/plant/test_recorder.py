# SPDX-License-Identifier: MIT
"""The recorder against closed forms, and its schedule against the firmware at work."""

import numpy as np
import pytest

import sagline
from plant.parts import E11_HALF_LSB, NULL_LSB_V, Curve, Parts
from plant.recorder import IDEAL_CONVERSIONS, Extras, Recorder, Waveform
from plant.windows import schedule
from sagline.analysis.values import RawStep
from sagline_board import profile
from sagline_board.profile import ADS1115, ONBOARD

SEGMENTS = ((0, 1000), (1, 300), (0, 500))


def flat(volts: float = 1.5) -> Waveform:
    t_s = np.linspace(0.0, 8.0, 9)
    level = np.full(9, volts)
    return Waveform(t_s, level, level, 0.0 * level)


def points(raw: RawStep, source: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Start and end (s) of each point of a source, and its mean code."""
    chosen = raw.source == source
    start, length = raw.start_us[chosen], raw.length_us[chosen]
    return start * 1e-6, (start + length) * 1e-6, raw.total[chosen] / raw.n[chosen]


def test_a_window_holds_the_mean_of_the_waveform() -> None:
    t_s = np.linspace(0.0, 7.0, 70_001)

    def swing(t_s: np.ndarray) -> np.ndarray:
        return 1.5 + 0.2 * np.sin(40.0 * t_s)

    wave = Waveform(t_s, swing, swing, np.zeros_like(t_s))
    (raw,) = Recorder(0, False).steps(wave, [0.0])
    start, end, code = points(raw, ADS1115 * 4)
    # The ADS1115's own times are rounded to 1 µs in the record, 20 nV of this swing each.
    mean_v = 1.5 + 0.2 * (np.cos(40.0 * start) - np.cos(40.0 * end)) / (40.0 * (end - start))
    expected = Parts().code(ADS1115, Parts().pin_v(0, mean_v, False))
    near = (end - start) < 0.002
    assert np.count_nonzero(near) > 500
    assert code[near] == pytest.approx(expected[near], abs=0.05)


def test_the_channel_follows_from_ohms_law() -> None:
    # Kirchhoff at the node: (V - n)/100k + (3 - n)/1M = n/75k, by hand for 1.5 V: n = 0.738 V.
    node_v = (1.5 / 100e3 + 3.0 / 1e6) / (1 / 100e3 + 1 / 75e3 + 1 / 1e6)
    (raw,) = Recorder(0, False).steps(flat(), [0.0])
    assert points(raw, ADS1115 * 4)[2] == pytest.approx(node_v / 62.5e-6, abs=1e-5)
    assert points(raw, ONBOARD * 4)[2] == pytest.approx(node_v / 3.0 * 4096, abs=1e-5)
    assert set(raw.n) == {IDEAL_CONVERSIONS}


def test_windows_are_those_of_the_firmware() -> None:
    with sagline.open_rig("virtual://lr6?seed=1&adc=onboard") as rig:
        running = rig.step(0, SEGMENTS)
        try:
            while True:
                next(running)
        except StopIteration as ended:
            theirs = ended.value
    ours = Recorder(
        0, theirs.range_high, rng=np.random.default_rng(1), converters=(ONBOARD,)
    ).steps(flat(), [0.0], 1.0, 0.3, 0.5)[0]
    assert ours.edges_us == theirs.edges_us
    key = [
        sorted(zip(raw.source, raw.start_us, raw.length_us, strict=True)) for raw in (ours, theirs)
    ]
    assert key[0] == key[1]


def test_the_ads1115_alternates_and_begins_anew_at_each_edge() -> None:
    edges_us, _ = schedule(SEGMENTS)
    parts = Parts(rate=(0.0, 0.1))
    recorder = Recorder(0, False, parts, np.random.default_rng(2), null=True)
    (raw,) = recorder.steps(flat(), [0.0], 1.0, 0.3, 0.5)
    for edge_us in edges_us:
        first = (raw.source // 4 == ADS1115) & (raw.start_us >= edge_us)
        assert raw.start_us[first][0] == edge_us
        assert list(raw.source[first][:8] % 4) == [3, 1, 0, 1, 3, 1, 0, 2]
        # 860 conversions a second and 10 % more (data sheet SBAS444: ±10 %).
        assert raw.length_us[first][:8] == pytest.approx(1e6 / 860 / 1.1, abs=0.51)


def test_the_null_channel_reads_differences_from_one_balance_a_step() -> None:
    t_s = np.linspace(0.0, 8.0, 81)

    def falling(t_s: np.ndarray) -> np.ndarray:
        return 1.5 - 0.003 * t_s

    wave = Waveform(t_s, falling, falling, np.zeros_like(t_s))
    recorder = Recorder(0, False, null=True, null_residual_v=0.004)
    for raw in recorder.steps(wave, [0.0, 1.0], 5.0, 0.3, 0.5):
        start, end, code = points(raw, 7)
        gain = (1 / 100e3) / (1 / 100e3 + 1 / 75e3 + 1 / 1e6)
        slope, middle = np.polyfit((start + end) / 2.0 - 2.5, code, 1)
        assert slope == pytest.approx(-0.003 * gain / NULL_LSB_V, rel=1e-5)
        # The balance is that of the middle of the rest.
        assert middle == pytest.approx(-0.004 / NULL_LSB_V, abs=1.0)


def test_mains_is_averaged_over_a_conversion() -> None:
    extras = Extras(mains_v=0.005, mains_hz=50.0, mains_phase=(0.7,))
    quiet, hum = (
        Recorder(0, False, extras=each).steps(flat(), [0.0])[0] for each in (Extras(), extras)
    )
    start, end, code = points(hum, ADS1115 * 4)
    added = code - points(quiet, ADS1115 * 4)[2]
    w = 2.0 * np.pi * 50.0
    phase = [w * (t - 5.0) + 0.7 for t in (start, end)]
    gain = (1 / 100e3) / (1 / 100e3 + 1 / 75e3 + 1 / 1e6)
    expected = 0.005 * gain / 62.5e-6 * (np.cos(phase[0]) - np.cos(phase[1])) / (w * (end - start))
    near = (end - start) < 0.002
    assert added[near] == pytest.approx(expected[near], abs=0.02)


def test_drawn_parts_reach_their_limits_and_no_further() -> None:
    boards = [Parts.drawn(np.random.default_rng(seed), 0) for seed in range(300)]
    limits = {
        "reference": profile.REFERENCE["tolerance_ppm"] * 1e-6,
        "switch": profile.LOADS[0]["switch_tolerance_ppm"] * 1e-6,
    }
    for name, limit in limits.items():
        greatest = max(abs(getattr(board, name)) for board in boards)
        assert 0.98 * limit < greatest <= limit


def test_wide_codes_swallow_what_lies_in_them() -> None:
    straight = Curve(0.0, 128.0, np.zeros(40), smooth=True, e11=True)
    code = np.linspace(1536.0 - E11_HALF_LSB, 1536.0 + E11_HALF_LSB, 50)
    assert code + straight.at(code) == pytest.approx(1536.0)
    assert straight.at(np.array([1024.0, 2048.0])) == pytest.approx(0.0)
