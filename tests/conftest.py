# SPDX-License-Identifier: MIT
"""What every test here shares: a home of its own, repeatable examples, and no skips in CI."""

import os
import signal
import tempfile
from collections.abc import Generator
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("local", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") == "true" else "local")


if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    # A shell starts what runs in the background deaf to Ctrl-C; the programs that tests start
    # would be so too.
    signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(autouse=True)
def sagline_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep records and settings of a test away from those of the person who runs it."""
    home = tmp_path / "sagline-home"
    monkeypatch.setenv("SAGLINE_HOME", str(home))
    # Reports of faults and runs that no log took go among the temporary files.
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr(tempfile, "tempdir", None)
    return home


def _forbid_skip(report: pytest.TestReport | pytest.CollectReport) -> None:
    """Turn a skip into a failure where SAGLINE_NO_SKIPS=1; an expected failure is no skip."""
    if os.environ.get("SAGLINE_NO_SKIPS") != "1":
        return
    if report.skipped and not hasattr(report, "wasxfail"):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
        report.outcome = "failed"
        report.longrepr = f"{report.nodeid}: no skips with SAGLINE_NO_SKIPS=1 ({reason})"


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """A test that skips itself, or is marked so, fails where skips are forbidden."""
    report = yield
    _forbid_skip(report)
    return report


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    """A module that skips itself as a whole fails where skips are forbidden."""
    report = yield
    _forbid_skip(report)
    return report
