# SPDX-License-Identifier: MIT
"""Addresses of virtual rigs: virtual://NAME?seed=N&adc=...&board=...&pace=...&fault=...

`virtual://tray?cells=lr6,lr6-worn` is a rig with a tray of cells beside it: the first is in,
and hands put in the next ones (`hands.py`).
"""

from dataclasses import dataclass, field
from typing import Literal, cast, get_args
from urllib.parse import parse_qsl, unquote, urlsplit

from sagline.errors import UsageError
from sagline.virtual.cells import CELLS
from sagline.virtual.faults import Faults, parse_faults

Adc = Literal["both", "ads1115", "onboard"]
BoardName = Literal["rp2040", "rp2350"]
Pace = Literal["fast", "real"]


@dataclass(frozen=True)
class VirtualAddress:
    """What a virtual:// address asks for; `cells` in the order they are put in."""

    name: str
    cells: tuple[str, ...]
    seed: int = 0
    adc: Adc = "both"
    board: BoardName = "rp2350"
    pace: Pace = "fast"
    faults: Faults = field(default_factory=Faults)


TRAY = "tray"

_CHOICES: dict[str, tuple[str, ...]] = {
    "adc": get_args(Adc),
    "board": get_args(BoardName),
    "pace": get_args(Pace),
}


def parse(url: str) -> VirtualAddress:
    """Return the address in `url`. Raises UsageError naming what is wrong and what is allowed."""
    parts = urlsplit(url)
    name = unquote(parts.netloc)
    values = dict(parse_qsl(parts.query, keep_blank_values=True))
    cells = _cells(name, values)
    seed = _seed(values.pop("seed", "0"))
    chosen: dict[str, str] = {}
    for key, allowed in _CHOICES.items():
        chosen[key] = values.pop(key, getattr(VirtualAddress, key))
        if chosen[key] not in allowed:
            raise UsageError(
                "bad_address",
                f"{key}={chosen[key]} is not possible.",
                f"Write {key}= and one of: {', '.join(allowed)}.",
            )
    if values.pop("null", "off") != "off":
        raise UsageError(
            "no_null_channel",
            "The null channel is not in this version.",
            "Leave null out of the address.",
        )
    faults = parse_faults(values.pop("fault", ""))
    if values:
        raise UsageError(
            "bad_address",
            f"The address has an unknown part: {', '.join(sorted(values))}.",
            f"Known parts are seed, {', '.join(_CHOICES)}, fault.",
        )
    return VirtualAddress(
        name,
        cells,
        seed,
        cast(Adc, chosen["adc"]),
        cast(BoardName, chosen["board"]),
        cast(Pace, chosen["pace"]),
        faults,
    )


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
                f"Use one of: {', '.join(CELLS)}. `sagline virtual list` describes them.",
            )
    return names


def _seed(text: str) -> int:
    if not text.isdecimal():
        raise UsageError("bad_address", f"seed={text} is not possible.", "A seed is 0, 1, 2, ...")
    return int(text)
