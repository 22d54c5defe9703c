# SPDX-License-Identifier: MIT
"""The pure parts of a drawer: labels, what happens to it, contact, sorting, groups, reference."""

from datetime import UTC, datetime

import pytest

from sagline.analysis.comparison import Candidate
from sagline.drawer.contact import SETTLED_LOOKS, Contact, Look
from sagline.drawer.events import (
    READER,
    SCHEMA,
    Again,
    Begun,
    Designated,
    Done,
    Missed,
    NextLabel,
    Opened,
    Relabelled,
    TakenBack,
)
from sagline.drawer.figures import Figures
from sagline.drawer.groups import Tolerance, group_rows
from sagline.drawer.labels import following, free_after
from sagline.drawer.looking import doubt_of
from sagline.drawer.state import drawer_of, undoable
from sagline.drawer.table import filter_rows, rows_of, sort_rows, turns_of
from sagline.drawer.words import group_lines, row_details, row_line
from sagline.errors import UsageError

OPENED = Opened(
    schema=SCHEMA, at=datetime(2026, 11, 27, tzinfo=UTC), log="/log", simulated=True,
    first_label="aa-09", designation="LR6", load_ohm=None, temperature_c=None, operator=None,
)  # fmt: skip


def begun(label, record_id):
    return Begun(label=label, designation="LR6", record_id=record_id)


def run(label, record_id):
    return [begun(label, record_id), Done(record_id=record_id)]


def missed(label, code, *, again=False):
    return Missed(label=label, designation="LR6", code=code, reason=f"It is {code}.", again=again)


def figures(name, r_ohm, u95_ohm=0.001, emf_v=1.5, load_ohm=3.3):
    one = Candidate(name, name, r_ohm, u95_ohm, 0.1, load_ohm, None, "alkaline", "rig 1", "m")
    return Figures(emf_v, 0.001, one)


@pytest.mark.parametrize(
    ("label", "after"),
    [("lr6-09", "lr6-10"), ("box 3 left", "box 4 left"), ("99", "100"), ("kitchen", "kitchen 2"),
     ("", "1"), ("a1b2", "a1b3"), ("2026-007", "2026-008")],
)  # fmt: skip
def test_labels_run_on(label, after):
    assert following(label) == after


def test_labels_that_are_taken_are_passed_over():
    assert free_after("a1", ["a2", "a3", "a5"]) == "a4"


def test_the_next_label_is_the_last_plus_one_and_waits_for_what_is_put_in_again():
    events = [OPENED, *run("aa-09", "r1")]
    assert drawer_of([OPENED]).next_label == "aa-09"
    assert drawer_of(events).next_label == "aa-10"
    turned = [*events, missed("aa-10", "cell_reversed", again=True)]
    assert (drawer_of(turned).next_label, drawer_of(turned).repeats) == ("aa-10", True)
    assert drawer_of([*turned, *run("aa-10", "r2")]).next_label == "aa-11"
    # A cell without voltage has its row; the next one is another.
    assert drawer_of([*events, missed("aa-10", "no_voltage")]).next_label == "aa-11"
    chosen = drawer_of([*events, NextLabel(label="b1"), *run("b1", "r3")])
    assert chosen.next_label == "b2"


def test_a_cell_that_is_measured_again_keeps_its_row_and_labels_go_on_behind_the_newest():
    events = [OPENED, *run("aa-09", "r1"), *run("aa-10", "r2"), Again(label="aa-09")]
    again = drawer_of([*events, *run("aa-09", "r3")])
    assert [(cell.label, cell.done_ids) for cell in again.cells] == [
        ("aa-09", ("r1", "r3")), ("aa-10", ("r2",)),
    ]  # fmt: skip
    assert (again.next_label, again.repeats) == ("aa-11", False)


def test_undo_takes_back_one_thing_after_the_other_and_a_run_as_a_whole():
    events = [OPENED, *run("aa-09", "r1"), begun("aa-10", "r2"), missed("aa-10", "stopped"),
              Designated(designation=None), Relabelled(label="aa-09", new="first")]  # fmt: skip
    seen = []
    while (number := undoable(events)) is not None:
        events.append(TakenBack(number=number))
        drawer = drawer_of(events)
        seen.append(([cell.label for cell in drawer.cells], drawer.designation, drawer.next_label))
    assert seen == [
        (["aa-09", "aa-10"], None, "aa-11"),
        (["aa-09", "aa-10"], "LR6", "aa-11"),
        (["aa-09"], "LR6", "aa-10"),
        ([], "LR6", "aa-09"),
    ]


def test_a_run_that_was_cut_off_leaves_its_cell_next():
    drawer = drawer_of([OPENED, *run("aa-09", "r1"), begun("aa-10", "r2")])
    assert (drawer.next_label, drawer.repeats) == ("aa-10", True)
    rows = rows_of(drawer, {"r1": figures("r1", 0.15)})
    assert [(row.label, row.state) for row in rows] == [
        ("aa-09", "measured"), ("aa-10", "interrupted"),
    ]  # fmt: skip
    # What it comes to takes its place, and the run stays known for an undo.
    ended = drawer_of([OPENED, begun("aa-09", "r1"), missed("aa-09", "contact_lost", again=True)])
    assert [(one.record_id, one.code) for one in ended.cells[0].tries] == [("r1", "contact_lost")]


def test_events_are_read_back_as_they_were_written():
    for event in (OPENED, begun("a", "r"), Done(record_id="r"), missed("a", "x"),
                  Relabelled(label="a", new="ü"), TakenBack(number=1)):  # fmt: skip
        assert READER.validate_json(event.model_dump_json(by_alias=True)) == event


def test_contact_is_told_once_it_has_settled_and_once_only():
    contact = Contact()
    looks = [Look(open_v=v) for v in (0.9, 1.2, 1.58, 1.581, 1.58, 1.58, 1.58)]
    told = [contact.take(look) for look in looks]
    assert [look is not None for look in told] == [False] * 4 + [True] + [False] * 2
    assert SETTLED_LOOKS == 3
    empty = Look(code="no_cell")
    assert contact.take(empty) is empty and contact.take(empty) is None
    # A lead that comes first is not yet a cell; another cell is told again.
    assert contact.take(Look(code="sense_pos_open")) is None
    assert [contact.take(Look(open_v=1.5)) is None for _ in range(3)] == [True, True, False]


@pytest.mark.parametrize(
    ("designation", "open_v", "code", "may_go"),
    [("LR6", 1.72, "above_band", False), ("LR6", 0.85, "below_band", True),
     ("LR6", 0.89, None, None), ("LR6", 1.68, None, None), (None, 12.0, None, None),
     ("ICR18/65", 2.49, "below_cut_off", False), ("ICR18/65", 2.5, None, None)],
)  # fmt: skip
def test_a_voltage_outside_the_band_is_doubted(designation, open_v, code, may_go):
    doubt = doubt_of(designation, open_v)
    assert (None if doubt is None else doubt.code) == code
    assert doubt is None or doubt.may_go is may_go


def drawer_with(values):
    events = [OPENED]
    for label in values:
        events += run(label, label)
    return rows_of(
        drawer_of(events), {label: figures(label, *one) for label, one in values.items()}
    )


def test_rows_are_sorted_and_filtered_those_without_a_figure_last():
    rows = drawer_with({"a1": (0.2,), "a2": (0.1,), "b3": (0.3,)})
    rows += rows_of(drawer_of([OPENED, missed("x", "no_voltage")]), {})
    assert [row.label for row in sort_rows(rows, "r")] == ["a2", "a1", "b3", "x"]
    assert [row.label for row in sort_rows(rows, "r", falling=True)] == ["b3", "a1", "a2", "x"]
    assert [row.label for row in filter_rows(rows, "lr6 VOLTAGE")] == ["x"]
    assert [row.label for row in filter_rows(rows, "a")] == ["a1", "a2", "b3", "x"]
    assert [row.label for row in filter_rows(rows, "a1")] == ["a1"]


def test_turns_show_how_contact_scatters():
    # By hand: mean 0.102, deviations -2, 0, 2 mOhm, so s = sqrt(8 / 2) = 2 mOhm.
    turns = turns_of([0.100, 0.102, 0.104])
    assert turns is not None and turns.count == 3
    found = (turns.mean_ohm, turns.spread_ohm, turns.s_ohm)
    assert found == pytest.approx((0.102, 0.004, 0.002))
    assert turns_of([0.1]) is None
    events = [OPENED, *run("a", "r1"), Again(label="a"), *run("a", "r2")]
    rows = rows_of(drawer_of(events), {"r1": figures("r1", 0.100), "r2": figures("r2", 0.104)})
    assert rows[0].r_ohm == 0.104 and rows[0].spread_ohm == pytest.approx(0.004)
    assert "more than U: contacts count" in row_details(rows[0])[0]


def test_groups_keep_their_tolerance_and_there_are_as_few_as_can_be():
    # 5 %: 0.100 reaches 0.105, 0.106 reaches 0.1113, 0.112 stands alone.
    values = {"e": (0.112,), "a": (0.100,), "d": (0.111,), "b": (0.105,), "c": (0.106,)}
    rows = drawer_with({label: (*one, 0.0001) for label, one in values.items()})
    groups = group_rows(rows, Tolerance(0.05))
    assert [(group.name, group.labels) for group in groups] == [
        ("A", ("a", "b")), ("B", ("c", "d")), ("C", ("e",)),
    ]  # fmt: skip
    for group in groups:
        assert group.high_ohm <= group.low_ohm * 1.05 + 1e-12
    # Fewer than three cannot be: a, c and e are each too far from the one before. With their U,
    # a and b may be further apart than the tolerance; c and d may not.
    assert (groups[0].unsure, groups[1].unsure, groups[2].unsure) == (("a", "b"), (), ())
    assert "A  LR6  0.1 to 0.105 Ω  2 cells: a b" in "\n".join(group_lines(groups, Tolerance(0.05)))


def test_groups_by_volts_too_and_never_across_loads():
    rows = drawer_with({"a": (0.1, 1e-4, 1.50), "b": (0.1, 1e-4, 1.52), "c": (0.1, 1e-4, 1.505)})
    groups = group_rows(rows, Tolerance(0.05, 0.01))
    assert [group.labels for group in groups] == [("a", "c"), ("b",)]
    rows = drawer_with({"a": (0.1, 1e-4, 1.5, 3.3), "b": (0.1, 1e-4, 1.5, 15.0)})
    assert [group.labels for group in group_rows(rows, Tolerance(0.05))] == [("a",), ("b",)]
    for wrong in ((0.0, None), (1.5, None), (0.05, 0.0), (float("nan"), None)):
        with pytest.raises(UsageError):
            Tolerance(*wrong)


def test_a_cell_beside_its_own_reference_by_the_rules_of_every_comparison():
    events = [OPENED, *run("a", "a"), *run("b", "b")]
    known = {"a": figures("a", 0.100, 0.003), "b": figures("b", 0.110, 0.004)}
    rows = rows_of(drawer_of(events), known, {"LR6": known["a"]})
    # E_n = 0.010 / sqrt(0.003² + 0.004²) = 2.
    assert rows[1].beside is not None and rows[1].beside.en == pytest.approx(2.0)
    assert rows[1].beside.share == pytest.approx(0.1)
    assert "+10.0 % E_n 2.0" in row_line(rows[1]) and "itself" in row_line(rows[0])
    other = rows_of(drawer_of(events), known, {"LR6": figures("r", 0.1, 0.003, load_ohm=15.0)})
    assert "not comparable" in row_line(other[0])
    assert "loads were different" in "\n".join(row_details(other[0]))
    assert max(len(row_line(row)) for row in (*rows, *other)) <= 80
