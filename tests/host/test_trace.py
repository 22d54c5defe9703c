# SPDX-License-Identifier: MIT
"""A measurement kept byte by byte and played again."""

import json
import os

import pytest
import serial
from hypothesis import given
from hypothesis import strategies as st

import sagline
from sagline import cli
from sagline.device.link import Link
from sagline.device.replay import ReplayEnded
from sagline.device.trace import HEADER, Tracer, escape, read_trace, unescape
from sagline.errors import UsageError

SETTINGS = {"designation": "LR6", "repeats": 2}
# What of a result is not a figure: when and under which name it was made.
CIRCUMSTANCES = {"id": 0, "measured_at": 0, "warnings": 0}


def measured(address, path):
    with sagline.open_rig(address, trace=path) as rig:
        return rig.measure(**SETTINGS)


@pytest.fixture
def traced(tmp_path):
    """Return a trace's path and the result that it was made with."""
    path = str(tmp_path / "one.trace")
    return path, measured("virtual://lr6?seed=3", path)


def replayed(path):
    with sagline.open_rig(f"replay://{path}") as rig:
        return rig.measure(**SETTINGS)


def lines_of(path):
    with open(path, encoding="ascii") as file:
        return file.read().splitlines()


def test_a_replayed_measurement_gives_the_same_figures_and_says_so(traced):
    path, result = traced
    again = replayed(path)
    assert again.to_dict() | CIRCUMSTANCES == result.to_dict() | CIRCUMSTANCES
    assert again.kind == "virtual"
    codes = {warning.code for warning in again.warnings}
    assert codes - {warning.code for warning in result.warnings} == {"replayed"}


def test_a_trace_with_requests_sent_again_plays_too(tmp_path):
    """Bytes are lost both ways: what was waited for in vain is waited for again."""
    path = str(tmp_path / "lossy.trace")
    result = measured("virtual://lr6?seed=3&fault=bytes_lost:3e-4", path)
    sent_again = [line for line in lines_of(path) if " > \\n@" in line]
    assert len(sent_again) > 5
    assert replayed(path).to_dict() | CIRCUMSTANCES == result.to_dict() | CIRCUMSTANCES


def test_a_trace_of_a_trace_is_the_same(traced, tmp_path):
    again = str(tmp_path / "again.trace")
    measured(f"replay://{traced[0]}", again)
    entries, copies = read_trace(traced[0]), read_trace(again)
    assert [(e.direction, e.data) for e in copies] == [(e.direction, e.data) for e in entries]
    assert all(entry.data.endswith(b"\n") for entry in entries), "a line of bytes on one of text"


def test_the_command_line_keeps_and_plays(tmp_path, capsys):
    """The name has a blank and a % sign, which an address writes as %20 and %25."""
    path = tmp_path / "50 % worn.trace"
    given = ("--designation", "LR6", "--repeats", "2", "--json")
    assert cli.main(["measure", "--rig", "virtual://lr6?seed=3", "--trace", str(path), *given]) == 0
    first = json.loads(capsys.readouterr().out)
    address = f"replay://{path}".replace("%", "%25").replace(" ", "%20")
    assert cli.main(["measure", "--rig", address, *given]) == 0
    second = json.loads(capsys.readouterr().out)
    assert second | CIRCUMSTANCES == first | CIRCUMSTANCES


def test_the_file_says_what_it_is_and_its_times_do_not_run_back(traced):
    lines = lines_of(traced[0])
    assert lines[0] == HEADER
    assert lines[1].startswith("# virtual://lr6?seed=3, sagline ")
    times = [int(line.split(" ")[0]) for line in lines[2:]]
    assert times == sorted(times)
    assert times[-1] > 12_000_000
    assert {entry.direction for entry in read_trace(traced[0])} == {"<", ">"}


def test_every_byte_is_there_as_soon_as_it_has_passed(tmp_path):
    path = str(tmp_path / "early.trace")
    link = Link.open("virtual://lr6", path)
    reply = link.request("identity")
    assert reply in lines_of(path)[-1]
    link.close()


def test_any_program_that_uses_pyserial_can_play_a_trace(traced):
    first = next(entry for entry in read_trace(traced[0]) if entry.data.startswith(b"@"))
    with serial.serial_for_url(f"replay://{traced[0]}", timeout=0.1) as port:
        port.write(b"\n")
        assert port.read(100) == b""
        port.write(first.data)
        assert port.read(port.in_waiting).startswith(first.data[: first.data.index(b" ")])


def test_another_request_than_the_recorded_one_is_said(traced):
    rig = sagline.open_rig(f"replay://{traced[0]}")
    with pytest.raises(ReplayEnded, match="not @") as caught, rig:
        rig.measure(designation="LR6", repeats=3)
    assert (caught.value.code, caught.value.exit_status) == ("trace_differs", 2)
    assert "not @" in caught.value.message and "MEASure:COUNts?" in caught.value.message, (
        "the first difference, not the last"
    )
    number = int(caught.value.message.split()[1])
    assert "ABORt" in lines_of(traced[0])[number - 1]


def test_a_trace_that_was_cut_short(traced):
    lines = lines_of(traced[0])
    last = max(i for i, line in enumerate(lines[:200]) if " < " in line)
    with open(traced[0], "w", encoding="ascii") as file:
        file.write("\n".join(lines[: last + 1]) + "\n")
    with pytest.raises(ReplayEnded, match="ends before") as caught:
        replayed(traced[0])
    assert caught.value.exit_status == 2


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "no_trace"),
        ("something else\n", "no_trace"),
        ("\u00fc\n", "no_trace"),
        (HEADER + "\n12 > x", "trace_cut"),
        (HEADER + "\n12 ? x\n", "bad_trace"),
        (HEADER + "\n12 <> x\n", "bad_trace"),
        (HEADER + "\n12  x\n", "bad_trace"),
        (HEADER + "\n12 >\n", "bad_trace"),
        (HEADER + "\nx > y\n", "bad_trace"),
        (HEADER + "\n12 > \\xZZ\n", "bad_trace"),
        (HEADER + "\n12 > \\u20ac\n", "bad_trace"),
    ],
)
def test_what_is_no_trace(tmp_path, text, code):
    path = tmp_path / "bad.trace"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(UsageError) as caught:
        sagline.open_rig(f"replay://{path}")
    assert caught.value.code == code
    assert caught.value.remedy


def test_a_trace_that_is_not_there(tmp_path):
    with pytest.raises(UsageError) as caught:
        sagline.open_rig(f"replay://{tmp_path / 'none.trace'}")
    assert caught.value.code == "trace_not_read"


def test_a_trace_that_cannot_be_written(tmp_path, capsys):
    path = str(tmp_path / "no" / "folder")
    assert cli.main(["measure", "--rig", "virtual://lr6", "--trace", path]) == 2
    assert "cannot be written" in capsys.readouterr().err


def test_a_trace_is_never_written_over_a_file(traced, capsys):
    path = traced[0]
    before = lines_of(path)
    assert cli.main(["measure", "--rig", "virtual://lr6", "--trace", path]) == 2
    err = capsys.readouterr().err
    assert f"There is a file {path} already" in err and "another name" in err
    assert lines_of(path) == before


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="/dev/full is a thing of Linux")
def test_a_full_disk_ends_the_trace_and_not_the_measurement(traced):
    result = measured("virtual://lr6?seed=3", "/dev/full")
    assert result.r_ohm == traced[1].r_ohm
    warning = next(w for w in result.warnings if w.code == "trace_cut")
    assert "/dev/full" in warning.text and "No space" in warning.text


@given(st.binary(max_size=200))
def test_escaped_bytes_come_back(data):
    text = escape(data)
    assert text.isascii() and text.isprintable()
    assert unescape(text) == data


@given(st.lists(st.tuples(st.sampled_from("<>"), st.binary(min_size=1, max_size=50)), max_size=20))
def test_what_is_noted_is_read(tmp_path_factory, chunks):
    path = str(tmp_path_factory.mktemp("noted") / "any.trace")
    tracer = Tracer(path, "COM3", lambda: 1.5)
    for direction, data in chunks:
        tracer.note(direction, data)
    tracer.close()
    assert tracer.failure is None
    assert [(e.direction, e.data) for e in read_trace(path)] == chunks
    assert all(entry.at_us == 1_500_000 for entry in read_trace(path))
