# SPDX-License-Identifier: MIT
"""A measurement kept byte by byte and played again."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

import sagline
from sagline.device.trace import HEADER, ReplayEnded, escape, read_trace, unescape
from sagline.errors import UsageError

SETTINGS = {"designation": "LR6", "repeats": 2}


@pytest.fixture
def traced(tmp_path):
    """Return a trace's path and the result that it was made with."""
    path = str(tmp_path / "one.trace")
    with sagline.open_rig("virtual://lr6?seed=3", trace=path) as rig:
        result = rig.measure(**SETTINGS)
    return path, result


def test_a_replayed_measurement_gives_the_same_figures(traced):
    path, result = traced
    with sagline.open_rig(f"replay://{path}") as rig:
        again = rig.measure(**SETTINGS)
    assert again.to_dict() | {"id": 0, "measured_at": 0} == result.to_dict() | {
        "id": 0,
        "measured_at": 0,
    }


def test_times_do_not_run_back_and_directions_alternate(traced):
    with open(traced[0], encoding="ascii") as file:
        lines = file.read().splitlines()
    times = [int(line.split(" ")[0]) for line in lines[1:]]
    assert times == sorted(times)
    assert times[-1] > 12_000_000
    directions = {direction for direction, _ in read_trace(traced[0])}
    assert directions == {"<", ">"}


def test_another_request_than_the_recorded_one_is_said(traced):
    rig = sagline.open_rig(f"replay://{traced[0]}")
    with pytest.raises(ReplayEnded, match="not @") as caught, rig:
        rig.measure(designation="LR6", repeats=3)
    assert caught.value.code == "trace_differs"
    assert "STEP:CLEar" in caught.value.message, "the first difference, not the last"


def test_a_trace_that_was_cut_short(traced):
    with open(traced[0], encoding="ascii") as file:
        lines = file.read().splitlines()
    last = max(i for i, line in enumerate(lines[:200]) if " < " in line)
    with open(traced[0], "w", encoding="ascii") as file:
        file.write("\n".join(lines[: last + 1]) + "\n")
    with pytest.raises(ReplayEnded, match="ends before"):
        sagline.open_rig(f"replay://{traced[0]}").measure(**SETTINGS)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "no_trace"),
        ("something else\n", "no_trace"),
        (HEADER + "\n12 ? x\n", "bad_trace"),
        (HEADER + "\nx > y\n", "bad_trace"),
        (HEADER + "\n12 > \\xZZ\n", "bad_trace"),
    ],
)
def test_what_is_no_trace(tmp_path, text, code):
    path = tmp_path / "bad.trace"
    path.write_text(text)
    with pytest.raises(UsageError) as caught:
        sagline.open_rig(f"replay://{path}")
    assert caught.value.code == code


def test_a_trace_that_cannot_be_written(tmp_path):
    with pytest.raises(UsageError, match="cannot be written"):
        sagline.open_rig("virtual://lr6", trace=str(tmp_path / "no" / "folder"))


@given(st.binary(max_size=200))
def test_escaped_bytes_come_back(data):
    text = escape(data)
    assert text.isascii() and text.isprintable()
    assert unescape(text) == data
