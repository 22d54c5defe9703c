# SPDX-License-Identifier: MIT
"""Whatever is typed gives finite figures with an interval, or an error with a remedy."""

from math import isfinite

from hypothesis import given, settings
from hypothesis import strategies as st

from sagline.analysis.hand.estimate import estimate
from sagline.analysis.hand.fields import WAYS
from sagline.analysis.hand.sheet import OPTIONS, Sheet
from sagline.errors import Refused, UsageError

NUMBERS = st.one_of(
    st.sampled_from(
        ["0", "1", "1.5", "1,49", "-1", "1e-12", "1e12", "0.000000000000001", "99999", "x", ""]
    ),
    st.decimals(min_value="0.01", max_value="20", places=2).map(str),
    st.decimals(min_value="1.40", max_value="1.60", places=3).map(str),
)
STATED = st.one_of(NUMBERS, st.sampled_from(["0.5%", "1e-12", "100%", "0.001"]))
ENTRIES = st.lists(
    st.tuples(st.sampled_from(["open", "loaded", "loaded", "load", "load", "amps", "watts"]),
              NUMBERS),
    max_size=12,
)  # fmt: skip


@st.composite
def sheets(draw) -> Sheet:
    way = draw(st.sampled_from(WAYS))
    names = draw(st.lists(st.sampled_from(OPTIONS[way]), max_size=3, unique=True))
    entries = draw(ENTRIES)
    if draw(st.booleans()):
        # Whole groups, of which more get as far as figures.
        closer = draw(st.sampled_from(["load", "load", "amps"]))
        parts = zip(*(draw(st.lists(NUMBERS, min_size=4, max_size=4)) for _ in range(3)),
                    strict=True)  # fmt: skip
        entries = [
            pair
            for opened, loaded, setting in parts
            for pair in (("open", opened), ("loaded", loaded), (closer, setting))
        ]
    return Sheet(
        way,
        tuple(entries),
        {name: draw(STATED) for name in names},
        designation=draw(st.sampled_from([None, "LR6", "none such"])),
        extrapolate=way == "line" and draw(st.booleans()),
        fit_open=way == "line" and draw(st.booleans()),
    )


@settings(max_examples=250)
@given(sheets())
def test_figures_or_an_error_that_says_what_to_do(sheet: Sheet) -> None:
    try:
        found = estimate(sheet)
    except (Refused, UsageError) as error:
        assert error.remedy
        return
    for quantity in (found.r, found.emf, found.load, found.current):
        if quantity is None:
            continue
        assert isfinite(quantity.value)
        assert quantity.u is not None and isfinite(quantity.u) and quantity.u >= 0.0
        assert quantity.low95 is not None and quantity.high95 is not None
        assert quantity.low95 <= quantity.value <= quantity.high95
    assert found.budget
    assert abs(sum(line.share for line in found.budget) - 1.0) < 1e-9
