# SPDX-License-Identifier: MIT
"""A drawer at the virtual rig: hands put cells in, one of them the wrong way round."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from sagline.device.rig import open_rig
from sagline.drawer import acts, journal, references
from sagline.drawer.beginning import Ask, begin, figures_in, references_for
from sagline.drawer.choosing import choose_row
from sagline.drawer.events import SCHEMA, Begun, Opened
from sagline.drawer.news import Inbox, Paused, PutIn, Rows, TakeOut, Trouble, Unkept
from sagline.drawer.station import Station
from sagline.drawer.table import rows_of
from sagline.errors import NotStored, UsageError
from sagline.log.listing import Filters, list_runs
from sagline.log.store import Log
from sagline.virtual.cells import CELLS
from sagline.virtual.truth import truth

MOST_S = 10.0


class Bench:
    """Drives a station; `hands` does what each news asks for, until it says "end"."""

    def __init__(self, address, **asked):
        self.address = address
        self.asked = asked
        self.news = []
        self.at_s = []

    def serve(self, react):
        with open_rig(self.address) as rig:
            self.journal = begin(rig, Ask(**self.asked))
            inbox, hands = Inbox(), rig.hands()
            station = Station(rig, self.journal, inbox, figures_in(self.journal))
            for item in station.run():
                self.news.append(item)
                self.at_s.append(rig.now_s())
                react(item, hands, inbox)
        return self

    def rows(self):
        return rows_of(self.journal.drawer, figures_in(self.journal), references_for(self.journal))

    def of(self, kind):
        return [(at_s, item) for at_s, item in zip(self.at_s, self.news, strict=True)
                if isinstance(item, kind)]  # fmt: skip


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """aa-09 measured, then turned with 10 mΩ more in its contacts; aa-10 reversed, out of band."""
    with pytest.MonkeyPatch.context() as patch:
        home = str(tmp_path_factory.mktemp("home"))
        patch.setenv("SAGLINE_HOME", home)
        done = set()

        def react(item, hands, inbox):
            match item:
                case PutIn("aa-09", False) if "first" not in done:
                    done.add("first")
                case TakeOut("aa-09") if "turned" not in done:
                    done.add("turned")
                    hands.add_series(0.01)
                    hands.move_tap("load")
                    inbox.put("again")
                case TakeOut("aa-09"):
                    hands.remove()
                case PutIn("aa-10", False):
                    hands.add_series(0.0)
                    hands.insert("cr2032")
                    hands.reverse()
                case Trouble() if "reversed" not in done:
                    done.add("reversed")
                    hands.reverse()
                case Paused():
                    inbox.put("go")
                    inbox.put("skip")
                case TakeOut("aa-10") if "reversed" in done:
                    hands.remove()
                case PutIn("aa-11", False):
                    inbox.put("skip")
                case PutIn("aa-12", False):
                    inbox.put("end")

        asked = {"first_label": "aa-09", "designation": "LR6", "name": "test"}
        yield home, Bench("virtual://lr6?seed=5", **asked).serve(react)


@pytest.fixture
def bench(served, monkeypatch):
    home, found = served
    monkeypatch.setenv("SAGLINE_HOME", home)
    return found


def test_labels_are_told_before_insertion_and_each_thing_has_its_row(bench):
    asked = [(item.label, item.again) for _, item in bench.of(PutIn)]
    assert asked[0] == ("aa-09", False) and asked[-1] == ("aa-12", False)
    assert [row.label for row in bench.rows()] == ["aa-09", "aa-10", "aa-11"]
    measured, outside, absent = bench.rows()
    assert measured.state == "measured" and measured.designation == "LR6"
    assert (outside.state, outside.figures) == ("above band", None)
    assert outside.open_v == pytest.approx(3.2, abs=0.3) and "at most 1.65 V" in outside.reason
    assert (absent.state, absent.reason) == ("absent", "No cell is in this place.")
    # What was wrong with the second one before, in its order.
    tries = bench.journal.drawer.cells[1].tries
    assert [one.code for one in tries] == ["cell_reversed", "above_band"]


def test_nothing_was_loaded_in_a_pause(bench):
    doubt = bench.of(Paused)[0][1].doubt
    assert doubt.code == "above_band" and not doubt.may_go
    with Log(Path(bench.journal.drawer.opened.log)) as log:
        assert [row.label for row in list_runs(log, Filters())] == ["aa-09", "aa-09"]


def test_a_cell_takes_ten_seconds_at_most_and_the_interval_holds_the_truth(bench):
    first_s = next(at_s for at_s, item in bench.of(Rows) if item.drawer.cells[0:1]
                   and item.drawer.cells[0].done_ids)  # fmt: skip
    assert first_s - bench.of(PutIn)[0][0] <= MOST_S
    row = bench.rows()[0]
    found = bench.of(Rows)[-1][1].figures
    first = found[bench.journal.drawer.cells[0].done_ids[0]]
    known = truth(CELLS["lr6"], load_ohm=3.3)["truth"]["r_at"]
    true_ohm = next(at["value"] for at in known if at["t_s"] == 0.1)
    assert abs(first.r_ohm - true_ohm) <= first.u95_ohm < 0.05 * true_ohm
    # Turned, with 10 mΩ in its contacts between the sense clips.
    assert row.turns is not None and row.turns.spread_ohm == pytest.approx(0.01, rel=0.1)


def test_a_reference_stays_and_others_are_put_beside_it(bench):
    assert choose_row(bench.journal, "aa-09") == "LR6"
    assert references.read(simulated=True)["LR6"] == bench.journal.drawer.cells[0].done_ids[-1]
    assert references.read(simulated=False) == {}
    beside = bench.rows()[0].beside
    assert beside is not None and beside.share == 0.0
    with pytest.raises(UsageError):
        choose_row(bench.journal, "aa-11")


def test_undo_marks_the_run_deleted_and_a_drawer_is_gone_on_with(bench):
    """Last, for it changes the drawer."""
    again = journal.read("test")
    assert again.drawer == bench.journal.drawer
    said = [acts.undo(again) for _ in range(5)]
    assert said[0] == "Undone: aa-11, No cell is in this place." and "the run of aa-09" in said[3]
    assert [len(cell.tries) for cell in again.drawer.cells] == [1]
    with Log(Path(again.drawer.opened.log)) as log:
        assert len(list_runs(log, Filters())) == len(list_runs(log, Filters(deleted=True))) == 1
    acts.relabel(again, "aa-09", "kitchen 1")
    with Log(Path(again.drawer.opened.log)) as log:
        assert [row.label for row in list_runs(log, Filters())] == ["kitchen 1"]
    # Killed in the middle of a line, and between a run's end and its row.
    run_id = again.drawer.cells[0].done_ids[0]
    lines = again.path.read_bytes().splitlines(keepends=True)
    cut = [line for line in lines[:3] if b'"done"' not in line]
    again.path.write_bytes(b"".join(cut) + b'{"what":"mis')
    killed = journal.read("test")
    assert killed.drawer.cells[0].tries[0].is_open
    assert acts.heal(killed) == ["aa-09"]
    assert journal.read("test").drawer.cells[0].done_ids == (run_id,)


def opened(path):
    return Opened(
        schema=SCHEMA, at=datetime.now(UTC), log=str(path), simulated=True, first_label="1",
        designation=None, load_ohm=None, temperature_c=None, operator=None,
    )  # fmt: skip


def test_a_drawer_that_cannot_be_written_says_so_and_stays_as_it_was(tmp_path):
    made = journal.create("one", opened(tmp_path / "log"))
    before = made.path.read_bytes()
    made.path.unlink()
    made.path.mkdir()
    with pytest.raises(NotStored):
        made.add(Begun(label="1", designation=None, record_id="r"))
    assert made.drawer.cells == ()
    made.path.rmdir()
    made.path.write_bytes(before + b"what is this\n")
    with pytest.raises(UsageError, match="Line 2"):
        journal.read("one")
    with pytest.raises(UsageError, match="already"):
        journal.create("one", opened(tmp_path / "log"))
    for name in ("", "../one", "a b", "x" * 65):
        with pytest.raises(UsageError):
            journal.read(name)


def test_nothing_was_left_unkept(bench):
    assert not bench.of(Unkept)
