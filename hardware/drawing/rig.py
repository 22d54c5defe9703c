# SPDX-License-Identifier: MIT
"""The whole drawing: page 1 names the others, and the file names."""

from __future__ import annotations

from pathlib import Path

from drawing import board, channels, force, null, thermistor
from drawing.pen import STEP_MM, TEXT_MM, Sheet, identifier
from drawing.writing import effects
from tools.sexp import Quoted, Written, write

ROOT = "rig.kicad_sch"
_COVER = (
    ("force", "Load current: fuse, blocking diode, four loads, ARM; ground tie; sense leads"),
    ("channels", "Three channels: divider with lift, clamp, follower; range"),
    ("null", "Supplies, references, null channel"),
    ("board", "Board with the firmware, converter of 16 bits"),
    ("thermistor", "Thermistor at the cell; may be left out"),
)
_NOTES = (
    "Board ground is the negative sense lead, behind its fuse. RET is not ground.",
    "Nets of one name are one net on all pages. Values in ohm and farad.",
    "Builds: base = one load, the board's own converter, no ARM; full = all but W1.",
    "What every part must bear, and what may replace it, is in bom.csv.",
    "Simulated only: no physical board has been built from this drawing yet.",
)


def pages() -> list[Sheet]:
    """The pages after the first, drawn."""
    return [force.sheet(), channels.sheet(), null.sheet(), board.sheet(), thermistor.sheet()]


def files() -> dict[str, str]:
    """File name to content, the root first."""
    drawn = pages()
    texts = {ROOT: write(_root(drawn)) + "\n"}
    for sheet in drawn:
        texts[f"{sheet.name}.kicad_sch"] = write(sheet.expression()) + "\n"
    return texts


def draw(folder: Path) -> None:
    """Write every file into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")


def _root(drawn: list[Sheet]) -> Written:
    cover = Sheet("rig", "Rig: what is on which page", 1)
    blocks: list[Written] = []
    by_name = {sheet.name: sheet for sheet in drawn}
    for index, (name, words) in enumerate(_COVER):
        at = (12, 10 + 9 * index)
        cover.note(words, (36, at[1] + 3))
        blocks.append(_block(name, by_name[name].title, at))
    for index, words in enumerate(_NOTES):
        cover.note(words, (12, 58 + 2.2 * index))
    instances = [["path", Quoted("/"), ["page", Quoted("1")]]]
    used = []
    for sheet in drawn:
        path = f"/{identifier('rig', 'sheet', sheet.name)}"
        instances.append(["path", Quoted(path), ["page", Quoted(str(sheet.page))]])
        for placed in sheet.placed:
            used.append(
                ["path", Quoted(f"{path}/{sheet.uuid_of(placed)}"),
                 ["reference", Quoted(placed.reference)], ["unit", placed.unit],
                 ["value", Quoted(placed.value)], ["footprint", Quoted("")]]
            )  # fmt: skip
    return cover.expression(*blocks, ["sheet_instances", *instances], ["symbol_instances", *used])


def _block(name: str, title: str, at: tuple[float, float]) -> Written:
    x, y = at[0] * STEP_MM, at[1] * STEP_MM
    width, height = 20 * STEP_MM, 6 * STEP_MM
    stroke = ["stroke", ["width", 0.15], ["type", "solid"], ["color", 0, 0, 0, 0]]
    return [
        "sheet",
        ["at", x, y],
        ["size", width, height],
        stroke,
        ["fill", ["color", 0, 0, 0, 0]],
        ["uuid", identifier("rig", "sheet", name)],
        ["property", Quoted("Sheet name"), Quoted(title), ["id", 0],
         ["at", x, y - 1.3, 0], effects(TEXT_MM, "left")],
        ["property", Quoted("Sheet file"), Quoted(f"{name}.kicad_sch"), ["id", 1],
         ["at", x, y + height + 1.6, 0], effects(TEXT_MM, "left")],
    ]  # fmt: skip
