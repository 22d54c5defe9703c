# SPDX-License-Identifier: MIT
"""protocol.md says what the code does: tables, headers, exchanges, on both interpreters."""

import json
import os
import subprocess
from pathlib import Path

import pytest

from board.still import StillHardware
from interpreters import micropython
from sagline.device import commandset
from sagline_board import commands, faults
from sagline_board.board import Board
from wire import cruelty, document

TEXT = document.PROTOCOL.read_text(encoding="utf-8")
DAMAGED = document.blocks("damaged", TEXT)[0]
HEADERS = [tuple(row.split("\t")) for row in document.blocks("headers", TEXT)[0]]
EXCHANGES = document.blocks("exchange", TEXT)


def test_tables_and_checksums_are_those_of_the_code():
    assert document.made_part("commands", TEXT) == document.command_table()
    assert document.made_part("errors", TEXT) == document.error_table()
    assert document.renewed(TEXT) == TEXT, "run: python tests/wire/document.py --write"


@pytest.mark.parametrize(("header", "name"), HEADERS)
def test_header(header, name):
    assert cruelty.check_header(header, name) is None


@pytest.mark.parametrize("lines", EXCHANGES, ids=range(len(EXCHANGES)))
def test_exchange(lines):
    assert len(lines) > 5
    assert cruelty.check_exchange(lines) is None


@pytest.mark.parametrize("line", [b":\n", b"::\n", b";:;\n", b": 3\n", b"?\n", b"*\n"])
def test_a_line_of_punctuation_is_an_error_and_no_crash(line):
    board = Board(StillHardware())
    board.receive(line + b"SYST:ERR?\n")
    assert board.take_output() == b'-113,"Undefined header"\n'


def test_the_size_of_a_chunk_is_as_the_page_says():
    assert f"the record, {commands.CHUNK_POINTS} points a chunk" in TEXT


def test_every_command_is_reached_by_its_own_header_and_done_by_the_board():
    for command in commandset.TABLE:
        assert commands.find(commandset.request(command.name)).name == command.name
        if command.name != "open_session":
            assert callable(getattr(Board, "_do_" + command.name))


def test_no_two_commands_share_a_spelling():
    short = [command.header.replace("[:NEXT]", "") for command in commandset.TABLE]
    spellings = [":".join(map(commands.short_form, header.split(":"))) for header in short]
    spellings += [header.upper() for header in short]
    for command, spelling in zip(commandset.TABLE * 2, spellings, strict=True):
        assert [row[0] for row in commands.TABLE if commands.spells(row[1], spelling)] == [
            command.name
        ]


def test_what_the_host_adds_is_for_these_commands_in_this_order():
    assert [command.name for command in commandset.TABLE] == [row[0] for row in commands.TABLE]
    assert list(commandset.TOLD) == [row[0] for row in commands.TABLE]


def test_every_error_the_board_can_give_has_words():
    numbers = {
        value
        for name, value in vars(faults).items()
        if name.isupper() and not name.startswith("EVENT_") and isinstance(value, int)
    }
    assert numbers == set(faults.TEXTS)


def test_a_check_that_should_fail_fails():
    line = document.envelopes(TEXT)[0]
    assert cruelty.check_whole((line[0], line[1] + 1, line[2], line[3])) is not None
    assert cruelty.check_exchange(["> *IDN?", "< someone else"]) is not None
    assert cruelty.check_exchange(["> *IDN?"]) is not None


def test_vectors_on_micropython(tmp_path):
    cases = (document.envelopes(TEXT), DAMAGED, HEADERS, EXCHANGES)
    file = tmp_path / "cases.json"
    file.write_text(json.dumps(cases))
    count, wrong = cruelty.check_all(*cases)
    assert wrong == []
    here = Path(__file__).parent
    firmware = here.parents[1] / "firmware" / "lib"
    run = subprocess.run(
        [micropython(), str(here / "cruelty.py"), str(file)],
        env={**os.environ, "MICROPYPATH": f"{firmware}:{here.parent}"},
        capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert run.stderr == ""
    assert run.stdout == f"checks {count}, wrong 0\n"
