# SPDX-License-Identifier: MIT
"""config.toml: what may stand in it, and errors that name file and line.

What is TOML and what not is as in TOML 1.0.0 (toml.io/en/v1.0.0).
"""

import os

import pytest

from sagline.config import Config, read_config
from sagline.errors import UsageError
from sagline.tomlfile import line_of

WHOLE = """
[rigs]
bench = "e6614103e7452b2f"
Field_2 = "/dev/ttyACM0"
cupboard = "virtual://lr6?seed=7"

[defaults]
operator = "A. Volta"
rig = "bench"
decimal_comma = true
log = "records/log.sqlite"
"""


@pytest.fixture
def read(tmp_path):
    """Read settings from text or bytes."""

    def read_text(text):
        path = tmp_path / "config.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_config(path)

    return read_text


def test_no_file_is_the_defaults(tmp_path):
    path = tmp_path / "none" / "config.toml"
    assert read_config(path) == Config(path)
    assert list(tmp_path.iterdir()) == []


def test_every_setting(read, tmp_path):
    assert read(WHOLE) == Config(
        tmp_path / "config.toml",
        {
            "bench": "e6614103e7452b2f",
            "Field_2": "/dev/ttyACM0",
            "cupboard": "virtual://lr6?seed=7",
        },
        operator="A. Volta",
        rig="bench",
        decimal_comma=True,
        log=tmp_path / "records" / "log.sqlite",
    )


def test_as_editors_on_windows_save_it(read):
    assert read(b"\xef\xbb\xbf" + WHOLE.replace("\n", "\r\n").encode()).operator == "A. Volta"


def test_the_log_may_be_a_full_path_or_start_at_home(read, tmp_path, monkeypatch):
    monkeypatch.setenv("HOME", str(tmp_path / "me"))
    monkeypatch.setenv("USERPROFILE", str(tmp_path / "me"))
    full = tmp_path / "l.sqlite"
    assert read(f"[defaults]\nlog = '{full}'").log == full
    assert read("[defaults]\nlog = '~/l.sqlite'").log == tmp_path / "me" / "l.sqlite"


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        # Unknown keys, in every way of writing a table.
        ("[rigs]\n\n[default]\n", 3, "'default' means nothing"),
        ("[defaults]\n# a\n\nrigg = 'x'\n", 4, "'rigg' means nothing"),
        ("\ndefaults.rigg = 'x'\n", 2, "'rigg' means nothing"),
        ("\ndefaults = { rig = 'x', rigg = 'x' }\n", 2, "'rigg' means nothing"),
        ("[defaults]\nrig = 'x'\n[defaults.rigg]\na = 1\n", 3, "'rigg' means nothing"),
        ("[rigs]\na = 'x'\n\n[[x.y]]\nz = 1\n", 4, "'x' means nothing"),
        ("x = [\n  1,\n\n  2,\n]\n", 1, "'x' means nothing"),
        # Wrong types.
        ("[rigs]\nb = 'x'\na = 3\n", 3, "a is a number"),
        ("rigs.b = 'x'\nrigs.a = true\n", 2, "a is true or false"),
        ("[rigs]\na.b = 'x'\n", 2, "a is a table"),
        ("[rigs]\na = [\n'x'\n]\n", 2, "a is a list"),
        ("[rigs]\na = 2001-01-01\n", 2, "a is a date"),
        ("rigs = 'x'\n", 1, "rigs is text"),
        ("\n[[rigs]]\na = 'x'\n", 2, "rigs is a list"),
        ("[defaults]\ndecimal_comma = 'yes'\n", 2, "decimal_comma is text"),
        ("[defaults]\ndecimal_comma = 1\n", 2, "decimal_comma is a number"),
        ("[defaults]\noperator = 3\n", 2, "operator is a number"),
        # A value of several lines above does not move the count.
        ("[defaults]\noperator = '''\nA\n[rigs]\n'''\nlog = 2\n", 2, "line break"),
        ("[defaults]\nlog = '''\n\n'''\nrig = 2\n", 2, "log is empty"),
        # Values that cannot be meant.
        ("[rigs]\na = ' '\n", 2, "a is empty"),
        ('[rigs]\na = "\\u001b[2J"\n', 2, "control character"),
        ("[rigs]\nb = 'x'\na = 'b'\n", 3, "'b', which is a nickname too"),
        ("\n[defaults]\nlog = '~no-such-person/x'\n", 3, "nobody's home"),
        ("\n[defaults]\nlog = '.'\n", 3, "is a folder"),
        # Not TOML.
        ("[rigs]\n\nbench = virtual\n", 3, "not TOML"),
        ("[rigs]\na = 'x'\na = 'y'\n", 3, "not TOML"),
        ("[rigs]\na = 'x'\n[rigs]\n", 3, "not TOML"),
        ("[rigs]\n\n[defaults\n\n\n", 3, "not TOML"),
        ("[rigs]\na =", 2, "not TOML"),
        ("x = 1\ny = " + "9" * 5000, 2, "too long"),
        ("x = 1\ny = " + "[" * 100_000, 2, "too deeply"),
        (b"[rigs]\n# caf\xe9\n", 2, "not UTF-8"),
        ("[rigs]\n".encode("utf-16"), 1, "not UTF-8"),
    ],
    ids=lambda value: str(value)[:40],
)
def test_errors_name_file_and_line(read, tmp_path, text, line, says):
    with pytest.raises(UsageError) as caught:
        read(text)
    assert caught.value.message.startswith(f"{tmp_path / 'config.toml'}, line {line}: ")
    assert says in caught.value.message
    assert caught.value.message.isprintable()
    assert caught.value.remedy


@pytest.mark.parametrize(
    "name",
    ["2nd", "-a", "", "a b", "grün", "a" * 33, "COM3", "com12", "ttyACM0", "ttyS1", "/dev/ttyACM0",
     "cu.usbmodem1", "virtual://lr6", "e6614103e7452b2f", "E6614103E7452B2F"],
)  # fmt: skip
def test_what_cannot_be_a_nickname(read, name):
    with pytest.raises(UsageError, match=r"line 3: .* cannot be a nickname") as caught:
        read(f"[rigs]\nfine = 'x'\n'{name}' = 'virtual://lr6'\n")
    assert "begins with a letter" in caught.value.remedy


@pytest.mark.parametrize("name", ["a", "a" * 32, "lr6", "bench-2", "Bench_2", "cupboard", "tty"])
def test_what_can_be_a_nickname(read, name):
    assert read(f"[rigs]\n{name} = 'virtual://lr6'\n").rigs == {name: "virtual://lr6"}


def test_what_is_no_file_is_told(tmp_path):
    path = tmp_path / "config.toml"
    path.mkdir()
    with pytest.raises(UsageError, match=r"config\.toml is a folder"):
        read_config(path)
    path.rmdir()
    for target in ("nowhere", "config.toml"):
        path.symlink_to(target)
        with pytest.raises(UsageError, match="a link that leads nowhere"):
            read_config(path)
        path.unlink()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_not_waited_for(tmp_path):
    path = tmp_path / "config.toml"
    os.mkfifo(path)
    with pytest.raises(UsageError, match="no plain file"):
        read_config(path)


def test_the_line_is_that_of_the_first_statement_that_brings_the_value_in():
    text = "a.b = '''\nx\n'''\n# c\n[d]\ne = [\n 1,\n]\nf = 2\n[a.g]\n"
    lines = {("a", "b"): 1, ("a",): 1, ("d",): 5, ("d", "e"): 6, ("d", "f"): 9, ("a", "g"): 10}
    assert {keys: line_of(text, keys) for keys in lines} == lines
    assert line_of(text, ("none",)) == 1
