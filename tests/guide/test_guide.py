# SPDX-License-Identifier: MIT
"""The handbook: what it says is so."""

import json
import re
import shlex
from pathlib import Path

import pytest

import sagline
from sagline.cli import build_parser, main
from sagline.errors import BoardRefused, SaglineError
from sagline.guide.pages import TOPICS, WIDTH, contents, page
from sagline_board import faults

ROOT = Path(__file__).parents[2]
# Faults of the virtual rig that are told before a load is on, or by the first step.
PROVOKED = (
    "absent", "reversed", "open_sense_pos", "open_sense_neg", "open_force_pos", "open_force_neg",
    "mosfet_on", "mosfet_off", "removed", "over_voltage", "unplugged",
)  # fmt: skip


@pytest.mark.parametrize("topic", TOPICS)
def test_a_page_fits_a_terminal_of_80_columns_and_has_no_markup(topic, capsys) -> None:
    assert main(["guide", topic]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) > 10
    for line in lines:
        assert len(line) <= WIDTH and line == line.rstrip() and line.replace(" ", "a").isprintable()
    assert not re.search(r"\*\*|^#|\]\(", "\n".join(lines), re.MULTILINE)


def test_without_a_topic_every_page_is_listed(capsys) -> None:
    assert main(["guide"]) == 0
    said = capsys.readouterr().out
    assert main(["guide", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)["topics"]
    assert [one["topic"] for one in listed] == list(TOPICS)
    for topic, title in contents():
        assert f"sagline guide {topic}" in said and title in said


def commands() -> list[str]:
    """Every command line of the pages: on a line of its own, or in backquotes."""
    text = "\n\n".join(page(topic).text for topic in TOPICS)
    own = re.findall(r"^  (sagline .*?)(?:   .*)?$", text, re.MULTILINE)
    quoted = [" ".join(one.split()) for one in re.findall(r"`(sagline[^`]*)`", text)]
    return sorted({one for one in [*own, *quoted] if "COMMAND" not in one})


def test_the_command_lines_of_the_pages_are_found() -> None:
    assert {"sagline demo", "sagline flash", "sagline selftest"} < set(commands())


@pytest.mark.parametrize("command", commands())
def test_every_command_line_is_understood(command: str) -> None:
    build_parser().parse_args(shlex.split(command)[1:])


@pytest.mark.parametrize("fault", PROVOKED)
def test_what_the_rig_says_to_a_fault_has_an_entry(fault: str) -> None:
    address = f"virtual://lr6?seed=3&fault={fault}"
    with pytest.raises(SaglineError) as caught, sagline.open_rig(address) as rig:
        rig.measure(designation="LR6", repeats=2)
    found = page(caught.value.code)
    assert found.topic == "faults"
    assert caught.value.code in found.title


def test_every_code_that_has_an_entry_is_one_that_the_program_gives() -> None:
    source = "\n".join(
        path.read_text(encoding="utf-8")
        for path in sorted((ROOT / "host" / "sagline").rglob("*.py"))
    )
    own = page("faults").text.split("What the board itself says")[0]
    codes = [code for line in re.findall(r"^[a-z_]+(?:, [a-z_]+)*$", own, re.MULTILINE)
             for code in line.split(", ")]  # fmt: skip
    assert len(codes) > 12
    for code in codes:
        assert f'"{code}"' in source, code


@pytest.mark.parametrize("number", [one for one in faults.TEXTS if one != faults.NO_ERROR])
def test_each_number_of_the_board_is_told_with_its_remedy(number: int, capsys) -> None:
    error = BoardRefused(number, faults.TEXTS[number])
    for asked in (str(number), error.code):
        assert main(["guide", "--json", asked]) == 0
        found = json.loads(capsys.readouterr().out)
        assert found["title"] == error.code
        assert " ".join(found["text"].split()) == f"{error.message} {error.remedy}"


def test_a_word_is_found_alone_in_any_case(capsys) -> None:
    assert main(["guide", "Lost", "Volts"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("lost volts\n  E - V") and "null channel" not in said
    assert page("type b").title == "type A, type B"
    assert page("sense_neg_open").title == "sense_pos_open, sense_neg_open"


@pytest.mark.parametrize("topic", ["methd", "nonsense of mine", "", "../cli"])
def test_an_unknown_topic_says_where_to_look(topic: str, capsys) -> None:
    assert main(["guide", topic]) == 2
    said = capsys.readouterr().err
    assert "sagline guide" in said
    assert ("Did you mean method" in said) == (topic == "methd")


def test_the_words_stand_in_order_and_once() -> None:
    text = page("glossary").text
    words = [line.casefold() for line in text.splitlines() if line and not line.startswith(" ")]
    assert words == sorted(set(words), key=lambda word: re.sub(r"[-_]", " ", word))
    assert {"emf", "internal resistance", "expanded uncertainty", "budget"} < set(words)


def test_the_worked_example_comes_out() -> None:
    text = page("method").text
    found = re.search(r"E = ([\d.]+) V, V = ([\d.]+) V across R = ([\d.]+) ohm", text)
    assert found is not None
    emf_v, loaded_v, load_ohm = map(float, found.groups())
    current_a = loaded_v / load_ohm
    r_ohm = (emf_v - loaded_v) / current_a
    assert f"= {current_a:.3f} A" in text and f"= {r_ohm:.3f} ohm" in text
    # 1 mV of error, as a share of r and of V.
    off = re.search(r"is ([\d.]+) % of this r, though only ([\d.]+) % of V", " ".join(text.split()))
    assert off is not None
    nudged = (emf_v + 1e-3 - loaded_v) / current_a / r_ohm - 1.0
    assert float(off[1]) == pytest.approx(100.0 * nudged, abs=0.06)
    assert float(off[2]) == pytest.approx(100.0 * 1e-3 / loaded_v, abs=0.006)


def test_the_cautions_are_those_of_the_readme_word_for_word() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    told = readme.split("## Before you connect a real cell")[1].split("\n## ")[0]
    assert page("safety").text.split() == told.split()
