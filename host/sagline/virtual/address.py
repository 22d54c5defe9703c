# SPDX-License-Identifier: MIT
"""Addresses of virtual rigs: virtual://NAME?seed=N&adc=...&null=...&board=...&build=...&pace=...&fault=...

`virtual://tray?cells=lr6,lr6-worn` is a rig with a tray of cells beside it: the first is in,
and hands put in the next ones (`hands.py`). `virtual://custom?cell=FILE.toml` holds a cell of
the user's own (`cellfile.py`). Values are percent-decoded; a plus sign is a plus sign.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, cast, get_args
from urllib.parse import SplitResult, unquote, urlsplit

from sagline.errors import UsageError
from sagline.virtual.cell import Cell
from sagline.virtual.cellfile import load
from sagline.virtual.cells import CELLS
from sagline.virtual.faults import Faults, parse_faults

Adc = Literal["both", "ads1115", "onboard"]
BoardName = Literal["rp2040", "rp2350"]
Build = Literal["full", "base"]
Fitted = Literal["off", "on"]
Pace = Literal["fast", "real"]


@dataclass(frozen=True)
class VirtualAddress:
    """What a virtual:// address asks for.

    `cells` are names in the order they are put in, all of them keys of `known`: the catalogue,
    and a cell of the user's own, which goes before one of the catalogue of the same name.
    """

    name: str
    cells: tuple[str, ...]
    known: Mapping[str, Cell] = field(default_factory=lambda: CELLS)
    seed: int = 0
    adc: Adc = "both"
    board: BoardName = "rp2350"
    pace: Pace = "fast"
    faults: Faults = field(default_factory=Faults)
    null: bool = True
    build: Build = "full"
    thermistor: Fitted = "off"


TRAY = "tray"
CUSTOM = "custom"

_CHOICES: dict[str, tuple[str, ...]] = {
    "adc": get_args(Adc),
    "board": get_args(BoardName),
    "pace": get_args(Pace),
    "build": get_args(Build),
    "thermistor": get_args(Fitted),
}


def parse(url: str) -> VirtualAddress:
    """Return the address in `url`, the file of a custom cell read.

    Raises UsageError naming what is wrong and what is allowed.
    """
    parts = _split(url)
    name = unquote(parts.netloc)
    values = query_values(parts.query)
    known = CELLS
    if name == CUSTOM:
        own = _own_cell(values.pop("cell", ""))
        cells, known = (own.name,), {**CELLS, own.name: own}
    else:
        cells = _cells(name, values)
    seed = _seed(values.pop("seed", "0"))
    chosen: dict[str, str] = {}
    if values.get("build") == "base":
        _fit_for_base(values)
    for key, allowed in _CHOICES.items():
        chosen[key] = values.pop(key, getattr(VirtualAddress, key))
        if chosen[key] not in allowed:
            raise UsageError(
                "bad_address",
                f"{key}={chosen[key]} is not possible.",
                f"Write {key}= and one of: {', '.join(allowed)}.",
            )
    null = _null(values, chosen["adc"])
    faults = parse_faults(values.pop("fault", ""))
    if values:
        raise UsageError(
            "bad_address",
            f"The address has an unknown part: {', '.join(sorted(values))}.",
            f"Known parts are seed, {', '.join(_CHOICES)}, null, fault; for a tray also cells, for "
            f"{CUSTOM} also cell.",
        )
    return VirtualAddress(
        name,
        cells,
        known,
        seed,
        cast(Adc, chosen["adc"]),
        cast(BoardName, chosen["board"]),
        cast(Pace, chosen["pace"]),
        faults,
        null,
        cast(Build, chosen["build"]),
        cast(Fitted, chosen["thermistor"]),
    )


def _fit_for_base(values: dict[str, str]) -> None:
    """A base build has the board's own converter and no other, and no thermistor."""
    if values.get("thermistor", "off") != "off":
        raise UsageError(
            "bad_address",
            "build=base has no thermistor: it has no bus to read one by.",
            "Leave thermistor out, or write build=full.",
        )
    if values.setdefault("adc", "onboard") != "onboard":
        raise UsageError(
            "bad_address",
            f"build=base has the board's own converter alone, not adc={values['adc']}.",
            "Leave adc out, or write build=full.",
        )


def _null(values: dict[str, str], adc: str) -> bool:
    """Whether the rig has the null channel, taking `null` out of `values`."""
    said = values.pop("null", "off" if adc == "onboard" else "on")
    if said not in ("on", "off"):
        raise UsageError("bad_address", f"null={said} is not possible.", "Write null=on or off.")
    if said == "on" and adc == "onboard":
        raise UsageError(
            "bad_address",
            "The null channel is read by the ADS1115, and adc=onboard has none.",
            "Leave null out, or write adc=both.",
        )
    return said == "on"


def _split(url: str) -> SplitResult:
    try:
        parts = urlsplit(url)
    except ValueError:
        parts = None
    if parts is None or parts.fragment or parts.path not in ("", "/"):
        raise UsageError(
            "bad_address",
            f"The address is more than a name and values: {url}",
            "Write virtual://NAME?KEY=VALUE; within a value # is %23, & is %26, % is %25.",
        )
    return parts


def query_values(query: str) -> dict[str, str]:
    """The values of a query, percent-decoded; the last one counts where a key comes twice."""
    pairs = (part.partition("=") for part in query.split("&") if part)
    return {unquote(key): unquote(value) for key, _, value in pairs}


def _own_cell(file: str) -> Cell:
    if not file:
        raise UsageError(
            "no_cell_file",
            "The address names no file of a cell.",
            f"Write virtual://{CUSTOM}?cell=FILE.toml; `sagline virtual truth --help` shows one.",
        )
    return load(Path(file))


def _cells(name: str, values: dict[str, str]) -> tuple[str, ...]:
    """The cells of a rig, taking `cells` out of `values`."""
    names = (name,)
    if name == TRAY:
        names = tuple(filter(None, values.pop("cells", "").split(",")))
        if not names:
            raise UsageError(
                "empty_tray",
                "The tray holds no cells.",
                f"Name some, as in virtual://{TRAY}?cells=lr6,lr6-worn.",
            )
    for cell in names:
        if cell not in CELLS:
            raise UsageError(
                "unknown_cell",
                f"There is no simulated cell {cell!r}.",
                f"Use one of: {', '.join(CELLS)}. `sagline virtual list` describes them. A cell of "
                f"your own is virtual://{CUSTOM}?cell=FILE.toml.",
            )
    return names


def _seed(text: str) -> int:
    if not text.isdecimal():
        raise UsageError("bad_address", f"seed={text} is not possible.", "A seed is 0, 1, 2, ...")
    return int(text)
