# SPDX-License-Identifier: MIT
"""Output that cannot be written, streams that are closed, and small alphabets."""

import os
import re
import subprocess
import sys

import pytest

LIST = "virtual list"
FULL = pytest.mark.skipif(not os.path.exists("/dev/full"), reason="/dev/full is a thing of Linux")


def sagline(arguments: str, *, unbuffered: bool = False, **environment: str):
    """Run `sagline` with a shell's redirections; return (status, stdout, stderr)."""
    settings = {**os.environ, "PYTHONUNBUFFERED": "1" if unbuffered else "", **environment}
    done = subprocess.run(
        ["/bin/sh", "-c", f"exec {sys.executable} -m sagline {arguments}"],
        capture_output=True, env=settings, timeout=60,
    )  # fmt: skip
    return done.returncode, done.stdout, done.stderr.decode()


@FULL
@pytest.mark.parametrize("unbuffered", [False, True])
@pytest.mark.parametrize("arguments", [LIST, "--help", "measure --help", "--version"])
def test_a_full_disk_is_no_fault_of_ours(arguments, unbuffered):
    status, _, err = sagline(f"{arguments} >/dev/full", unbuffered=unbuffered)
    assert status == 2
    assert err.startswith("sagline: Could not write the output: No space left on device.\n  ")


@FULL
@pytest.mark.parametrize("form", ["", "--json"])
def test_a_result_that_cannot_be_printed_is_found_in_the_log(form, tmp_path):
    """5: the result was made. What the words say brings it back."""
    given = f"measure --rig virtual://lr6 --load 15 --repeats 2 {form} >/dev/full"
    status, _, err = sagline(given, SAGLINE_HOME=str(tmp_path))
    assert status == 5 and "No space left on device" in err
    assert "The result was made" in err and "Traceback" not in err
    shown = re.search(r"`sagline (log show --demo \w+)`", err)
    assert shown is not None
    status, out, _ = sagline(shown[1], SAGLINE_HOME=str(tmp_path))
    assert status == 0 and b"r(0.1 s) = " in out


@pytest.mark.parametrize("unbuffered", [False, True])
def test_a_closed_output_is_said(unbuffered):
    for closed in (">&-", "<&- >&-"):
        status, _, err = sagline(f"{LIST} {closed}", unbuffered=unbuffered)
        assert status == 2
        assert err.startswith("sagline: Could not write the output: standard output is closed.\n")


def test_where_nothing_is_to_be_said_a_closed_output_does_no_harm():
    # 3 is "no hands there": the request itself went its way.
    assert sagline("hands remove --port 1 >&-")[0] == 3


@pytest.mark.parametrize("closed", ["2>&-", pytest.param("2>/dev/full", marks=FULL)])
def test_where_nobody_can_be_told_the_status_says_it(closed):
    status, out, _ = sagline(f"{LIST} {closed}")
    assert status == 0 and b"lr6" in out
    assert sagline(f"virtual truth nothing {closed}")[:2] == (2, b"")
    assert sagline(f"measure --rig virtual://lr6 --load 5 {closed}")[:2] == (2, b"")


def test_a_trace_does_not_get_the_place_of_a_closed_output(tmp_path):
    # The lowest free descriptor is the next file's (POSIX open): it would be 1 or 2.
    path = tmp_path / "one.trace"
    given = f"measure --rig virtual://lr6 --load 15 --repeats 1 --trace {path}"
    assert sagline(f"{given} >&- 2>&-")[0] == 5
    lines = path.read_text(encoding="ascii").splitlines()
    assert lines and not any("EMF" in line or "sagline:" in line for line in lines)


@pytest.mark.parametrize(
    ("encoding", "signs"),
    [
        ("utf-8", ("Ω", "±", "−")),
        # Code page 437 has Ω and ± and no true minus (Unicode's mapping table CP437.TXT).
        ("cp437", ("Ω", "±", "-")),
        ("cp1252", ("ohm", "±", "-")),
        ("ascii", ("ohm", "+/-", "-")),
    ],
)
def test_a_small_alphabet_has_words_instead_of_question_marks(encoding, signs):
    given = "measure --rig virtual://lr6 --load 15 --repeats 2"
    status, out, _ = sagline(given, PYTHONIOENCODING=encoding)
    text = out.decode(encoding)
    ohm, plus_minus, minus = signs
    assert status == 0 and "?" not in text
    assert f" {ohm} {plus_minus} 0." in text
    assert f"(E {minus} V) / I" in text
