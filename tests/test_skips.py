# SPDX-License-Identifier: MIT
"""With SAGLINE_NO_SKIPS=1 every kind of skip is a failure, and nothing else changes."""

from pathlib import Path

import pytest

pytest_plugins = ("pytester",)

SKIPPING_TESTS = """
import pytest

def test_skips_itself():
    pytest.skip("called")

@pytest.mark.skip(reason="marked")
def test_is_marked():
    pass

@pytest.mark.skipif(True, reason="conditional")
def test_is_marked_conditionally():
    pass

@pytest.fixture
def absent():
    pytest.skip("fixture")

def test_fixture_skips(absent):
    pass

def test_runs():
    pass

@pytest.mark.xfail(strict=True, reason="expected")
def test_fails_as_expected():
    assert False
"""


@pytest.fixture
def inner(pytester: pytest.Pytester) -> pytest.Pytester:
    """A folder of tests with this folder's conftest."""
    pytester.makeconftest(Path(__file__).with_name("conftest.py").read_text(encoding="utf-8"))
    return pytester


def test_skips_stay_skips_by_default(
    inner: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("SAGLINE_NO_SKIPS", raising=False)
    inner.makepyfile(SKIPPING_TESTS)
    result = inner.runpytest_subprocess()
    result.assert_outcomes(passed=1, skipped=4, xfailed=1)
    assert result.ret == pytest.ExitCode.OK


def test_skips_become_failures(inner: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SAGLINE_NO_SKIPS", "1")
    inner.makepyfile(SKIPPING_TESTS)
    result = inner.runpytest_subprocess()
    # pytest counts what goes wrong in a fixture or a marker's check as an error.
    outcomes = result.parseoutcomes()
    assert outcomes.get("failed", 0) + outcomes.get("errors", 0) == 4
    assert (outcomes["passed"], outcomes["xfailed"]) == (1, 1)
    assert "skipped" not in outcomes
    for reason in ("called", "marked", "conditional", "fixture"):
        result.stdout.fnmatch_lines([f"*no skips with SAGLINE_NO_SKIPS=1 (*{reason})"])
    assert result.ret == pytest.ExitCode.TESTS_FAILED


def test_a_module_that_skips_fails(inner: pytest.Pytester, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SAGLINE_NO_SKIPS", "1")
    inner.makepyfile("import pytest\npytest.importorskip('no_such_module_anywhere')\n")
    result = inner.runpytest_subprocess()
    result.assert_outcomes(errors=1)
    assert result.ret != pytest.ExitCode.OK
