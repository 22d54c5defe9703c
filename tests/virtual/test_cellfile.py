# SPDX-License-Identifier: MIT
"""A cell of the user's own: what a file may say, what is refused and how, and that it is used."""

import json
import math
from dataclasses import asdict, replace
from itertools import pairwise, product
from pathlib import Path
from urllib.parse import quote

import pytest

from sagline.errors import UsageError
from sagline.virtual.address import parse
from sagline.virtual.cellfile import load
from sagline.virtual.cells import CELLS, Cell
from sagline.virtual.clock import VirtualClock
from sagline.virtual.hands import Hands
from sagline.virtual.port import VirtualPort, build_hardware
from sagline.virtual.server import real_pace_url
from sagline.virtual.truth import truth

LEAST = {
    "emf_v": "1.5",
    "r_instant_ohm": "0.2",
    "rc": "[[0.1, 0.01]]",
    "diffusion_ohm_per_sqrt_s": "0",
    "capacity_ah": "1",
    "temperature_c": "-5",
}


def written(folder: Path, **values: str | None) -> Path:
    """A file of LEAST with `values` (TOML) in place or beside; None leaves a key out."""
    file = folder / "cell.toml"
    lines = [f"{key} = {value}" for key, value in (LEAST | values).items() if value is not None]
    file.write_text("\n".join(lines), encoding="utf-8")
    return file


def as_toml(cell: Cell) -> str:
    """JSON's strings, numbers and lists are TOML's too."""
    values = asdict(cell)
    values.pop("origin")
    return "\n".join(f"{key} = {json.dumps(value)}" for key, value in values.items())


def test_what_may_be_left_out_has_its_default(tmp_path: Path) -> None:
    assert load(written(tmp_path)) == Cell(
        "custom", "custom cell", "", 1.5, 0.2, ((0.1, 0.01),), 0.0, 1.0, 0.0, -5.0
    )


@pytest.mark.parametrize("name", CELLS)
@pytest.mark.parametrize("folder", ["plain", "a b&c=d;é#+%20?", "1,2"])
def test_a_cell_of_the_catalogue_comes_back_from_a_file(
    tmp_path: Path, name: str, folder: str
) -> None:
    file = tmp_path / folder / "cell.toml"
    file.parent.mkdir()
    file.write_text(as_toml(CELLS[name]), encoding="utf-8")
    assert load(file) == CELLS[name]
    rigs = [
        build_hardware(parse(url), VirtualClock(real_pace=False))
        for url in (
            f"virtual://{name}?seed=3",
            f"virtual://custom?cell={quote(str(file))}&seed=3",
            real_pace_url(f"virtual://custom?seed=3&cell={quote(str(file))}"),
        )
    ]
    rows = []
    for rig in rigs:
        rig.switch(2, 50_000)
        count = rig.capture(100_000, 1_000)
        rows.append(list(rig.rows[: count * 6]))
    assert rows[0]
    assert rows[1] == rows[0]
    assert rows[2] == rows[0]


def test_hands_know_the_cell_that_the_address_brings(tmp_path: Path) -> None:
    file = written(tmp_path, name='"mine"')
    port = VirtualPort(f"virtual://custom?cell={quote(str(file))}")
    hands = Hands(port)
    assert hands.cell == "mine"
    hands.insert("lr6")
    hands.insert("mine")
    assert hands.read_meter() == pytest.approx(1.5, abs=0.01)
    with pytest.raises(ValueError, match="mine"):
        hands.insert("yours")


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("emf_v", "0", "0.1 to 100 V"),
        ("emf_v", "-1.5", "0.1 to 100 V"),
        ("emf_v", "1e300", "0.1 to 100 V"),
        ("emf_v", "nan", "0.1 to 100 V"),
        ("emf_v", "inf", "0.1 to 100 V"),
        ("emf_v", "true", "a number"),
        ("emf_v", '"1.5"', "a number"),
        ("emf_v", "1979-05-27", "a number"),
        ("emf_v", "1" + "0" * 400, "a number"),
        ("emf_v", None, "a number"),
        ("r_instant_ohm", "0", "more than 0"),
        ("rc", "0.1", "pairs"),
        ("rc", "[0.1, 0.01]", "pairs"),
        ("rc", "[[0.1]]", "pairs"),
        ("rc", "[[0.1, 0.01, 1]]", "pairs"),
        ("rc", "[[0.1, 0]]", "pairs"),
        ("rc", "[[nan, 1]]", "pairs"),
        ("rc", f"[{'[1, 1], ' * 17}]", "at most 16"),
        ("diffusion_ohm_per_sqrt_s", "-1", "from 0"),
        ("capacity_ah", "0", "Ah"),
        ("temperature_c", "-300", "from -60 to 100"),
        ("emf_slope_v", "2", "from 0 to emf_v"),
        ("emf_slope_v", "-0.1", "from 0 to emf_v"),
        ("name", '"a b"', "letters"),
        ("name", '""', "letters"),
        ("title", r'"\u001b[31m"', "printable"),
        ("designation", "6", "printable"),
        ("origin", "{ emf_v = 1 }", "low"),
    ],
)
def test_a_value_without_meaning_is_named_with_what_is_allowed(
    tmp_path: Path, key: str, value: str | None, said: str
) -> None:
    file = written(tmp_path, **{key: value})
    with pytest.raises(UsageError) as caught:
        load(file)
    assert caught.value.code == "bad_cell"
    assert str(file) in caught.value.message
    assert f" {key}" in caught.value.message
    assert key in caught.value.remedy
    assert said in caught.value.remedy
    assert "\x1b" not in caught.value.message


def test_an_unknown_key_is_named_before_the_one_it_was_to_be(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="unknown key: emf") as caught:
        load(written(tmp_path, emf_v=None, emf="1.5"))
    assert "emf_v" in caught.value.remedy


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"emf_v = 1.5\n\nrc = [[1, }\n", "line 3"),
        (b"emf_v = 1.5\nemf_v = 1.6\n", "line 2"),
        (b"emf_v = '\xff'", "UTF-8"),
        (b"rc = " + b"[" * 5000, "nested"),
        (b"#" * 70_000, "longer"),
    ],
)
def test_what_is_not_toml_is_told_with_its_line(tmp_path: Path, data: bytes, said: str) -> None:
    file = tmp_path / "cell.toml"
    file.write_bytes(data)
    with pytest.raises(UsageError, match=said) as caught:
        load(file)
    assert str(file) in caught.value.message


def test_a_byte_order_mark_and_other_line_ends_do_no_harm(tmp_path: Path) -> None:
    plain = load(written(tmp_path))
    text = written(tmp_path).read_text(encoding="utf-8").replace("\n", "\r\n")
    (tmp_path / "other.toml").write_bytes(text.encode("utf-8-sig"))
    assert load(tmp_path / "other.toml") == plain


@pytest.mark.parametrize(
    ("file", "said"),
    [
        ("", "no file"),
        ("none.toml", "no such file"),
        (".", "not a file"),
        ("a%00", r"a\? .*no such file"),
    ],
)
def test_a_file_that_cannot_be_read(file: str, said: str) -> None:
    with pytest.raises(UsageError, match=said):
        parse(f"virtual://custom?cell={file}")


@pytest.mark.parametrize(
    "url",
    [
        "virtual://lr6?cell=x.toml",
        "virtual://custom?cell=a#b.toml",
        "virtual://custom/x.toml",
        "virtual://[x",
    ],
)
def test_an_address_that_would_be_taken_for_another_is_refused(url: str) -> None:
    with pytest.raises(UsageError) as caught:
        parse(url)
    assert caught.value.code == "bad_address"


def test_the_limits_are_ones_the_circuit_bears(tmp_path: Path) -> None:
    """At every corner r is finite, begins at r(0+) and, while the EMF stays, does not fall."""
    corners = {
        "emf_v": ("0.1", "100"),
        "r_instant_ohm": ("1e-6", "1e4"),
        "rc": ("[]", "[[1e-6, 1e-5], [1e4, 1e5]]", f"[{'[1e4, 1e-5], ' * 16}]"),
        "diffusion_ohm_per_sqrt_s": ("0", "1e4"),
        "capacity_ah": ("1e-4", "1e5"),
    }
    for values in product(*corners.values()):
        cell = load(written(tmp_path, **dict(zip(corners, values, strict=True))))
        for slope_v, load_ohm in product((0.0, cell.emf_v), (1e-3, 1e6)):
            true = truth(replace(cell, emf_slope_v=slope_v), load_ohm, (0.0, 1.0, 100.0))["truth"]
            r_ohm = [row["value"] for row in true["r_at"]]
            assert all(map(math.isfinite, r_ohm))
            assert r_ohm[0] == pytest.approx(cell.r_instant_ohm, rel=1e-3)
            if slope_v == 0.0:
                assert all(after >= before * 0.99 for before, after in pairwise(r_ohm))
