# SPDX-License-Identifier: MIT
"""The settings in config.toml, strictly: what is not understood is an error, never ignored.

    [rigs]
    bench = "e6614103e7452b2f"        # nickname = "port, serial number or URL"

    [defaults]
    operator = "A. Volta"             # who measures
    rig = "bench"                     # the rig where --rig is left out
    decimal_comma = true              # how figures are written for a spreadsheet
    log = "records/log.sqlite"        # the log of real measurements

Checked by hand, as the first screen needs it and must not wait for a schema library.
"""

import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sagline.errors import UsageError
from sagline.places import Places, find_places
from sagline.tomlfile import TomlFile, read_toml

NICKNAME_RULE = (
    "A nickname has up to 32 characters of a-z, A-Z, 0-9, - and _, begins with a letter, and "
    "looks like no port (COM3, ttyACM0), URL or serial number"
)
_NICKNAME = re.compile(r"[A-Za-z][A-Za-z0-9_-]{0,31}")
_PORT = re.compile(r"com\d+|tty[a-z]*\d+", re.I)
# The id that a Pico gives as its serial number: 64 bits.
_SERIAL_NUMBER = re.compile(r"[0-9a-f]{16}", re.I)


@dataclass(frozen=True)
class Config:
    """The settings; `file` is where they stand or could stand.

    `rigs` maps nickname to address. `log` is an absolute path, or None for the usual place.
    """

    file: Path
    rigs: Mapping[str, str] = field(default_factory=dict)
    operator: str | None = None
    rig: str | None = None
    decimal_comma: bool = False
    log: Path | None = None


def load_config(places: Places | None = None) -> Config:
    """Return the settings of this person. Raises UsageError naming file and line."""
    return read_config((places or find_places()).config)


def read_config(path: Path) -> Config:
    """Return the settings in the file `path`; the defaults where there is no such file.

    Raises UsageError naming file and line for an unknown key, a wrong type or value, or
    what is not TOML; naming the file where it cannot be read, as a link that leads nowhere.
    """
    if not os.path.lexists(path):
        return Config(path)
    file = read_toml(path)
    for key in file.document:
        if key not in ("rigs", "defaults"):
            raise _unknown(file, (key,), ("[rigs]", "[defaults]"))
    return Config(path, _rigs(file), **_defaults(file))


def real_log(places: Places, config: Config) -> Path:
    """Return the log of real measurements: the one that the settings name, or the usual one."""
    return config.log or places.log


def looks_like_port(name: str) -> bool:
    """Tell whether `name` is written like a port of some system: a path, COM3, ttyACM0."""
    return "/" in name or "\\" in name or _PORT.fullmatch(name) is not None


def _rigs(file: TomlFile) -> dict[str, str]:
    rigs = _table(file, "rigs")
    for name in rigs:
        if not _NICKNAME.fullmatch(name) or looks_like_port(name) or _SERIAL_NUMBER.fullmatch(name):
            raise file.wrong(("rigs", name), f"{name!r} cannot be a nickname", NICKNAME_RULE)
        _require_text(file, "rigs", name)
        if rigs[name] in rigs:
            raise file.wrong(
                ("rigs", name),
                f"{name} leads to {rigs[name]!r}, which is a nickname too",
                "Give the port, the serial number or the URL",
            )
    return rigs


def _defaults(file: TomlFile) -> dict[str, Any]:
    found = _table(file, "defaults")
    known = ("operator", "rig", "decimal_comma", "log")
    for key, value in found.items():
        if key not in known:
            raise _unknown(file, ("defaults", key), known)
        if key != "decimal_comma":
            _require_text(file, "defaults", key)
        elif not isinstance(value, bool):
            raise _wrong_type(file, ("defaults", key), value, "true or false")
    if "log" in found:
        found["log"] = _log(file, found["log"])
    return found


def _log(file: TomlFile, text: str) -> Path:
    try:
        # A path that is not full starts where the settings are, wherever one stands.
        path = file.path.parent / Path(text).expanduser()
    except RuntimeError as error:
        raise file.wrong(
            ("defaults", "log"), f"{text!r} names nobody's home folder", "Give the full path"
        ) from error
    if os.path.isdir(path):
        raise file.wrong(
            ("defaults", "log"), f"{path} is a folder", "Name a file, as in records/log.sqlite"
        )
    return path


def _table(file: TomlFile, key: str) -> dict[str, Any]:
    table = file.document.get(key, {})
    if not isinstance(table, dict):
        raise _wrong_type(file, (key,), table, f"a table, under a line [{key}]")
    return dict(table)


def _require_text(file: TomlFile, table: str, key: str) -> None:
    value = file.document[table][key]
    keys = (table, key)
    if not isinstance(value, str):
        raise _wrong_type(file, keys, value, "text in quotes")
    if not value.strip():
        raise file.wrong(keys, f"{key} is empty", "Write something, or remove the line")
    if not value.isprintable():
        raise file.wrong(
            keys, f"{key} holds a line break or a control character", "Write one line of plain text"
        )


def _unknown(file: TomlFile, keys: Sequence[str], known: Sequence[str]) -> UsageError:
    within = f" in [{keys[0]}]" if len(keys) > 1 else ""
    return file.wrong(
        keys, f"{keys[-1]!r} means nothing here", f"Known{within} are {', '.join(known)}"
    )


def _wrong_type(file: TomlFile, keys: Sequence[str], value: object, wanted: str) -> UsageError:
    found = {str: "text", bool: "true or false", int: "a number", float: "a number",
             dict: "a table", list: "a list"}.get(type(value), "a date or time")  # fmt: skip
    return file.wrong(keys, f"{keys[-1]} is {found}", f"It must be {wanted}")
