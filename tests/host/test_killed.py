# SPDX-License-Identifier: MIT
"""A small run of tests/bench/killed.py: what was told as done outlives the process."""

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from bench import killed
from sagline.log.store import Log

BENCH = Path(killed.__file__)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="each trial is a fork")
def test_nothing_told_is_lost_when_the_host_is_killed():
    # A process of its own: forking one that has threads is asking for trouble.
    done = subprocess.run(
        [sys.executable, str(BENCH), "--kills", "30", "--fresh", "4", "--seed", "2"],
        capture_output=True, text=True, timeout=300,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    words = done.stdout.splitlines()
    assert next(line for line in words if line.startswith("all")).split()[1] == "30"
    assert "lost or wrong: 0" in words


def test_a_loss_would_be_seen(tmp_path):
    told = killed.Told()
    path = tmp_path / "log.sqlite"
    killed.measure(path, 1, lambda *words: told.hear("\t".join(map(str, words))))
    assert len(told.steps) == killed.REPEATS
    with Log(path, write=True) as log:
        assert killed.differences(log, told) == []
        other = replace(told, steps={**told.steps, 2: "0"})
        assert "repeat 2" in killed.differences(log, other)[0]
        for statement, words in (
            ("DELETE FROM step WHERE n = 3", "repeat 3"),
            ("DELETE FROM result", "result"),
            ("DELETE FROM ending", "interrupted"),
        ):
            log.db.execute(statement)
            assert any(words in line for line in killed.differences(log, told)), words
        told.record_id = "0"
        assert "missing" in killed.differences(log, told)[0]
