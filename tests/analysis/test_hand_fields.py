# SPDX-License-Identifier: MIT
"""The one list of what may be typed: everything that takes readings takes what stands in it."""

import pytest

from sagline.analysis.hand.fields import (
    ABOUT,
    CLOSERS,
    FIELDS,
    READINGS,
    STATED_OPTIONS,
    SWITCHES,
    TIMES,
    WAYS,
    Field,
    named,
)
from sagline.analysis.hand.sheet import OPTIONS
from sagline.cli import build_parser
from sagline.errors import UsageError
from sagline.handfile import COLUMNS
from sagline.handrecord import Entry, HandOptions

ALL = (*READINGS, *FIELDS)


def test_the_record_has_a_place_for_each_and_no_other() -> None:
    names = Entry.model_json_schema()["properties"]["name"]["enum"]
    assert names == [field.name for field in READINGS]
    assert set(HandOptions.model_fields) == {field.name for field in STATED_OPTIONS}
    assert {field.name for field in FIELDS} == {
        field.name for field in (*STATED_OPTIONS, *SWITCHES, *ABOUT, TIMES[0])
    }
    assert set(COLUMNS.values()) == set(names)


def test_names_and_labels_tell_them_apart() -> None:
    for way in WAYS:
        for closer in CLOSERS:
            there = [field.label for field in ALL if field.is_for(way, closer)]
            assert len(set(there)) == len(there)
    assert len({field.name for field in ALL}) == len(ALL)
    assert named("u_ohm").unit == "Ω"
    with pytest.raises(KeyError):
        named("colour")


@pytest.mark.parametrize("field", ALL, ids=lambda field: field.name)
def test_the_command_line_takes_it(field: Field) -> None:
    option = {"temperature_c": "--temperature"}.get(field.name, field.option)
    value = {"switch": [], "pair": ["20", "5"]}.get(field.takes, ["1"])
    found = vars(build_parser().parse_args(["hand", "line", option, *value]))
    given = found.get("entries") or found[option.strip("-").replace("-", "_")]
    assert given in ([(field.name, "1")], True, ["20", "5"], "1")


@pytest.mark.parametrize("field", STATED_OPTIONS, ids=lambda field: field.name)
def test_an_option_means_something_where_it_is_said_to(field: Field) -> None:
    assert {way for way in WAYS if field.name in OPTIONS[way]} == set(field.ways)


@pytest.mark.parametrize(
    ("name", "good", "bad"),
    [
        ("open", ["1.58", "1,58", "-0.2", "−0,2", ".5"], ["1.5.8", "1.58 V", "1_5", ""]),
        ("load", ["10.0", "1e3"], ["0", "-10", "ten"]),
        ("amps", ["-10", "0.15"], ["10 A"]),
        ("u_volts", ["0.002", "0,5%", "0.5 %"], ["0", "%", "-1%"]),
        ("closed_each", ["20 5", "2,5 1"], ["20", "20 5 1", "20 0"]),
        ("fit_open", ["yes", "no", "Yes"], ["y", "1"]),
        ("label", ["kitchen 3", "1"], []),
    ],
)
def test_a_field_takes_what_it_should_and_names_itself(name, good, bad) -> None:
    field = named(name)
    for text in good:
        field.check(text)
    for text in bad:
        with pytest.raises(UsageError) as caught:
            field.check(text)
        assert caught.value.message.startswith(field.label.capitalize()[:1] + field.label[1:])


def test_lengths_are_centimetres() -> None:
    units = [(field.unit_for("voltmeter"), field.unit_for("slidewire")) for field in READINGS[:3]]
    assert units == [("V", "cm"), ("V", "cm"), ("Ω", "Ω")]
