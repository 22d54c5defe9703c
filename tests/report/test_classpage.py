# SPDX-License-Identifier: MIT
"""A class's page: every team's interval where it belongs, and nothing that is no result."""

import json
import re
from pathlib import Path

import html5lib
import pytest

from sagline.cli import main
from sagline.errors import UsageError
from sagline.report.ofclass import class_page, common_time_s, teams_of
from sagline.report.plot import Interval, intervals
from sagline.results import Result

SAMPLE = Path(__file__).parents[1] / "samples" / "result-v1.json"


def result(**changes: object) -> Result:
    return Result.model_validate({**json.loads(SAMPLE.read_text(encoding="utf-8")), **changes})


def words_of(page: str) -> str:
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)
    body = tree.find("body")
    assert body is not None
    return re.sub(r"\s+", " ", " ".join(body.itertext()))


def test_teams_are_called_by_operator_label_or_file_and_told_apart() -> None:
    named = [
        ("one", result(operator="Ada", label="x")),
        ("two", result(operator=None, label="left bench")),
        ("three", result(operator=None, label=None)),
        ("four", result(operator="Ada", label=None)),
    ]
    assert [team.name for team in teams_of(named)] == ["Ada (1)", "left bench", "three", "Ada (2)"]


def test_intervals_lie_to_scale_about_their_values() -> None:
    lines = [Interval("a", 1.0, 0.1), Interval("b", 1.4, 0.2), Interval("<c>", 1.2, None)]
    drawing = intervals("t", "x", lines, 1.2)
    number = r'="([\d.]+)"'
    bars = [
        (float(a), float(b))
        for a, b, y1, y2 in re.findall(
            rf'<line x1{number} x2{number} y1{number} y2{number} class="error"', drawing
        )
        if y1 == y2
    ]
    dots = [float(one) for one in re.findall(rf"<circle cx{number}", drawing)]
    assert len(bars) == 2 and len(dots) == 3 and "&lt;c&gt;" in drawing
    assert bars[1][1] - bars[1][0] == pytest.approx(2.0 * (bars[0][1] - bars[0][0]), abs=0.05)
    assert sum(bars[0]) / 2.0 == pytest.approx(dots[0], abs=0.02)
    assert dots[1] - dots[2] == pytest.approx(dots[2] - dots[0], abs=0.05)
    with pytest.raises(ValueError, match="needs an interval"):
        intervals("t", "x", [], 0.0)


def test_the_page_has_every_team_and_how_many_hold_the_median(tmp_path, capsys) -> None:
    one = json.loads(SAMPLE.read_text(encoding="utf-8"))
    far = {**one["r_ohm"]}
    for key in ("value", "low95", "high95"):
        far[key] = 2.0 * far[key]
    made = {
        "a": {**one, "operator": "Ada <b>"},
        "b": {**one, "operator": "Ben"},
        "c": {**one, "operator": None, "label": "=cmd()", "r_ohm": far, "r_at": [far]},
    }
    for name, document in made.items():
        (tmp_path / f"{name}.json").write_text(json.dumps(document))
    (tmp_path / "both.json").write_text(json.dumps([made["a"], made["b"]]))
    out = tmp_path / "class.html"
    files = [str(tmp_path / name) for name in ("both.json", "c.json")]
    assert main(["log", "class", *files, "--out", str(out), "--title", "Year <11>"]) == 0
    assert "3 results" in capsys.readouterr().out
    words = words_of(out.read_text(encoding="utf-8"))
    for name in ("Ada <b>", "Ben", "=cmd()", "Year <11>", one["id"]):
        assert name in words
    assert "2 of 3 intervals hold it" in words
    assert main(["log", "class", *files, "--out", str(out)]) == 2


def test_results_at_other_times_are_not_put_on_one_line() -> None:
    teams = teams_of([("a", result()), ("b", result())])
    assert common_time_s(teams) == teams[0].result.r_ohm.t_s
    moved = json.loads(SAMPLE.read_text(encoding="utf-8"))
    for at in (moved["r_ohm"], *moved["r_at"]):
        at["t_s"] = 17.0 + at["t_s"]
    with pytest.raises(UsageError, match="none in common"):
        class_page("t", teams_of([("a", result()), ("b", Result.model_validate(moved))]))
    with pytest.raises(UsageError, match="no result"):
        class_page("t", [])


@pytest.mark.parametrize(
    ("text", "code"),
    [("{", "not_json"), ("{}", "no_result_in_file"), ('[{"schema": "x"}]', "no_result_in_file")],
)
def test_a_file_that_is_none_of_ours_is_told(tmp_path, capsys, text, code) -> None:
    bad = tmp_path / "bad.json"
    bad.write_text(text)
    out = str(tmp_path / "x.html")
    assert main(["log", "class", str(bad), "--out", out, "--json"]) == 2
    assert json.loads(capsys.readouterr().err)["error"]["code"] == code
    assert main(["log", "class", str(tmp_path / "gone.json"), "--out", out]) == 2
    assert not Path(out).exists()
