# SPDX-License-Identifier: MIT
"""What lies outside the drawing: a resistive cell, and the four leads from it to the clips."""

from __future__ import annotations

from collections.abc import Collection

from tools.deck import Deck

FORCE_LEADS_OHM = (("J1", "pos", 0.04), ("J2", "neg", 0.06))
SENSE_LEADS = (("J3", "pos"), ("J4", "neg"))
SENSE_LEAD_OHM, LOST_OHM = 0.05, 1e9


def on_leads(
    deck: Deck,
    emf_v: float,
    r_ohm: float,
    *,
    backwards: bool = False,
    lost: Collection[str] = (),
    earthed: bool = False,
) -> list[str]:
    """Lines of a cell and its leads; its current is that of `vcell`.

    `lost` are leads (J1 to J4) off the cell; `earthed` joins the computer's ground with the
    battery's negative pole.
    """
    pos, neg = ("neg", "pos") if backwards else ("pos", "neg")
    lines = [f"vemf c0 {neg} {emf_v:g}", "vcell c0 c1 0", f"rcell c1 {pos} {r_ohm:g}"]
    for clip, end, ohm in FORCE_LEADS_OHM:
        node = deck.node(clip, "1")
        if clip in lost:
            lines.append(f"r{clip} {node} {end} {LOST_OHM:g}")
            continue
        # Half a metre of wire; the resistor keeps the simulator from ringing for ever.
        lines += [f"r{clip} {node} {clip}l {ohm}", f"l{clip} {clip}l {end} 0.5u"]
        lines += [f"rp{clip} {clip}l {end} 20"]
    if earthed:
        lines.append(f"rearth 0 {neg} 0.2")
    for clip, end in SENSE_LEADS:
        ohm = LOST_OHM if clip in lost else SENSE_LEAD_OHM
        lines.append(f"r{clip} {deck.node(clip, '1')} {end} {ohm:g}")
    return lines
