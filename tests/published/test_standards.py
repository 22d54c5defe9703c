# SPDX-License-Identifier: MIT
"""The measurement as others define it: printed examples and the sense of their formulas."""

import re

import pytest

from sagline.analysis.hand.estimate import estimate
from sagline.analysis.hand.fields import LINE, VOLTMETER
from sagline.analysis.hand.sheet import Sheet
from sagline.analysis.standards import (
    PRESCRIBED,
    Closed,
    TwoCurrent,
    two_current_r,
    voltage_drop_r,
)
from sagline.analysis.values import AnalysisError
from sagline.errors import UsageError

LITHIUM, STATIONARY = PRESCRIBED


def test_two_currents_of_a_stationary_cell() -> None:
    """IEC 60896-21, 6.3 (from memory; own figures that check each other): 2.00 V at 40 A and
    1.92 V at 200 A give 0.500 mohm, 4040 A, and 2.020 V at no current."""
    found = two_current_r(Closed(2.00, 40.0, 20.0), Closed(1.92, 200.0, 5.0), 20.0)
    assert 1e3 * found.r_ohm == pytest.approx(0.500, abs=0.0005)
    assert found.short_circuit_a == pytest.approx(4040.0, abs=0.5)
    assert found.intercept_v == pytest.approx(2.020, abs=0.0005)
    # E, r and the short-circuit current are of one straight line.
    assert found.intercept_v / found.r_ohm == pytest.approx(found.short_circuit_a, rel=1e-12)


def test_two_pulses_of_a_coin_cell_maker() -> None:
    """A cell maker's technical bulletin, dual pulse: 5 mA then 505 mA for about 100 ms, 1.485 V
    falling to 1.378 V, 500 mA apart: 0.214 ohm."""
    found = two_current_r(Closed(1.485, 0.005, 0.1), Closed(1.378, 0.505, 0.1), None)
    assert found.r_ohm == pytest.approx(0.214, abs=0.0005)


def test_voltage_drop_method() -> None:
    """R_in = (V1 - V2) R_L / V2 (Linden's Handbook of Batteries, 4th ed., 9.6.6, p. 9.27).

    The book has no figures; those of examination items with the same formula: 12.0 V, 10.9 V on
    10.0 ohm give 1.0 ohm; 9.00 V, 8.00 V on 1.40 ohm give 0.175 ohm exactly.
    """
    one = voltage_drop_r(12.0, 10.9, 10.0, 0.02, 20.0)
    assert one.r_ohm == pytest.approx(1.0, abs=0.05)
    assert voltage_drop_r(9.0, 8.0, 1.4, 0.02, None).r_ohm == pytest.approx(0.175, rel=1e-12)
    # A load of R in series with r: V2 = E R/(R + r), turned round.
    assert voltage_drop_r(1.6, 1.6 * 3.9 / 4.1, 3.9, 0.02, None).r_ohm == pytest.approx(0.2)


def test_a_pulse_that_is_not_short_is_told() -> None:
    """5 to 50 ms (Linden, as above)."""
    for pulse_s in (0.005, 0.05):
        assert "of the method" not in str(voltage_drop_r(12.0, 10.9, 10.0, pulse_s, None))
    for pulse_s in (0.0045, 0.055):
        assert "not the 5 to 50 ms" in str(voltage_drop_r(12.0, 10.9, 10.0, pulse_s, None))


def test_no_figure_without_its_times_currents_and_temperature() -> None:
    two = two_current_r(Closed(2.0, 40.0, 20.0), Closed(1.92, 200.0, 5.0), 21.5)
    drop = voltage_drop_r(9.0, 8.0, 1.4, 0.02, None)
    for text, said in (
        (str(two), ("0.5 mΩ", "40 A", "20 s", "200 A", "5 s", "21.5 °C", "4040 A", "2.02 V")),
        (str(drop), ("0.175 Ω", "9 V", "8 V", "1.4 Ω", "0.02 s", "temperature unknown")),
    ):
        for part in said:
            assert re.search(rf"(?<![\d.]){re.escape(part)}", text), (part, text)


@pytest.mark.parametrize(
    ("method", "rated_a", "first", "second"),
    [
        # IEC 61960-3 (second-hand): 0.2 I_t for 10 s, then 1 I_t for 1 s; here of 2.5 Ah.
        (LITHIUM, 2.5, Closed(3.70, 0.5, 10.0), Closed(3.60, 2.5, 1.0)),
        # IEC 60896-21, 6.3 (from memory): 4 I_10 for 20 s, then 20 I_10 for 5 s; here of 100 Ah.
        (STATIONARY, 10.0, Closed(2.00, 40.0, 20.0), Closed(1.92, 200.0, 5.0)),
    ],
)
def test_a_method_is_met_only_by_its_own_currents_and_times(method, rated_a, first, second) -> None:
    as_prescribed = two_current_r(first, second, 20.0)
    assert as_prescribed.departures(method, rated_a) == ()
    later = Closed(second.v, second.current_a, 2.0 * second.after_s)
    assert len(two_current_r(first, later, 20.0).departures(method, rated_a)) == 1
    # The same readings on a cell of twice the capacity: both currents are wrong.
    assert len(as_prescribed.departures(method, 2.0 * rated_a)) == 2


def refused(code: str, call) -> None:
    with pytest.raises(AnalysisError) as caught:
        call()
    assert caught.value.code == code
    assert caught.value.exit_status == 4 and len(caught.value.remedy) > 20


def test_readings_that_give_no_resistance_are_refused() -> None:
    light, heavy = Closed(2.0, 40.0, 20.0), Closed(1.92, 200.0, 5.0)
    refused("equal_currents", lambda: two_current_r(light, Closed(1.92, 40.0, 5.0), None))
    refused("no_fall", lambda: two_current_r(light, Closed(2.01, 200.0, 5.0), None))
    # The heavy one first is as good; its voltages exchanged are not.
    assert two_current_r(heavy, light, None).r_ohm == pytest.approx(5e-4)
    refused("no_fall", lambda: two_current_r(Closed(2.01, 200.0, 5.0), light, None))
    refused("not_positive", lambda: two_current_r(light, Closed(-0.1, 200.0, 5.0), None))
    refused("not_positive", lambda: two_current_r(Closed(2.0, -40.0, 20.0), heavy, None))
    refused("not_positive", lambda: two_current_r(Closed(2.0, 40.0, 0.0), heavy, None))
    refused("no_fall", lambda: voltage_drop_r(8.0, 9.0, 1.4, 0.02, None))
    refused("no_fall", lambda: voltage_drop_r(8.0, 8.0, 1.4, 0.02, None))
    refused("not_positive", lambda: voltage_drop_r(1.58, -0.12, 0.2, 0.02, None))
    refused("not_positive", lambda: voltage_drop_r(9.0, 8.0, 0.0, 0.02, None))
    refused("not_positive", lambda: voltage_drop_r(9.0, 8.0, 1.4, float("nan"), None))


def test_what_differs_by_definition_on_one_cell() -> None:
    """A cell of E 1.55 V, r 0.15 ohm and a first steep 30 mV at low current: from rest r comes out
    larger than between two currents, so the two never stand in one column (common practice)."""

    def terminal_v(current_a: float) -> float:
        return 1.55 - 0.03 * min(1.0, current_a / 0.01) - 0.15 * current_a

    slope = two_current_r(
        Closed(terminal_v(0.1), 0.1, 0.1), Closed(terminal_v(0.5), 0.5, 0.1), None
    )
    assert isinstance(slope, TwoCurrent) and slope.r_ohm == pytest.approx(0.15, rel=1e-9)
    v = terminal_v(0.4)
    rest = voltage_drop_r(1.55, v, v / 0.4, 0.02, None)
    assert rest.r_ohm == pytest.approx(0.15 + 0.03 / 0.4, rel=1e-9)
    assert slope.intercept_v == pytest.approx(1.52)


def said_of(*words: str, closed_s: float | None = None, **options: str) -> dict[str, str]:
    """The notices of readings typed by hand, by code."""
    entries = tuple(zip(words[::2], words[1::2], strict=True))
    way = VOLTMETER if words[-2] == "load" else LINE
    found = estimate(Sheet(way, entries, options, closed_s=closed_s))
    return {notice.code: notice.text for notice in found.notices}


TWO = ("loaded", "2.00", "amps", "40", "loaded", "1.92", "amps", "200")


def test_readings_by_hand_say_what_two_currents_give() -> None:
    """The figures of IEC 60896-21, 6.3 (as above), as a person types them."""
    text = said_of(*TWO, closed_each="20 5", rated_amps="10")["two_current_r"]
    for part in ("r 0.5 mΩ", "4040 A at no voltage", "2.02 V at no current"):
        assert part in text
    assert "times are those of IEC 60896-21, 6.3" in text and "no figure of IEC 61960-3" in text
    alike = said_of(*TWO, closed_s=20.0, rated_amps="10")["two_current_r"]
    assert "no figure of IEC 60896-21, 6.3: 20 s instead of 5 s" in alike
    assert "IEC" not in said_of(*TWO, closed_s=20.0)["two_current_r"]
    assert "two_current_r" not in said_of(*TWO), "without its times it is no figure"
    three = (*TWO, "loaded", "1.88", "amps", "280")
    assert "two_current_r" not in said_of(*three, closed_s=20.0)


def test_a_pulse_typed_by_hand_is_the_voltage_drop_method_where_it_is_short() -> None:
    """5 to 50 ms (Linden, as above)."""
    drop = ("open", "12.0", "loaded", "10.9", "load", "10.0")
    assert "1.009 Ω" in said_of(*drop, closed_s=0.02)["voltage_drop_r"]
    assert "voltage_drop_r" not in said_of(*drop, closed_s=2.0)


@pytest.mark.parametrize(
    ("words", "options"),
    [
        (TWO, {"closed_each": "20"}),
        (TWO, {"closed_each": "20 5", "closed_s": 2.0}),
        (TWO, {"rated_amps": "10"}),
        ((*TWO, "loaded", "1.88", "amps", "280"), {"closed_each": "20 5"}),
    ],
)
def test_times_of_two_currents_without_two_currents(words, options) -> None:
    with pytest.raises(UsageError) as caught:
        said_of(*words, **options)
    assert caught.value.code in ("bad_closed_each", "not_two_currents")
    assert "--closed-each" in caught.value.remedy
