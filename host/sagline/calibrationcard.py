# SPDX-License-Identifier: MIT
"""What a calibration found, put into the rig's document and on a report card."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from math import hypot, isfinite
from typing import Any

from uuid6 import uuid7

from sagline.analysis.calibrated import Known
from sagline.analysis.calibrating.found import Found
from sagline.analysis.montecarlo import half_width
from sagline.analysis.onboard_table import OnboardTable
from sagline.analysis.profile import RigProfile
from sagline.analysis.values import ONBOARD
from sagline.calibrations import (
    CALIBRATION_SCHEMA,
    Calibration,
    Offset,
    OnboardLinearity,
    Scale,
    Standard,
    VoltageScale,
)

TABLE_BEYOND = 1.5
"""Taking a straight line off can make an error larger at the ends, by no more than this."""

_CONVERTERS = ("onboard", "ads1115")
_CHANNELS = ("sense", "force", "return")


def merged(
    before: Calibration | None,
    found: Iterable[Found],
    table: OnboardTable | None = None,
    *,
    serial: str,
    made_at: datetime,
    temperature_c: float | None,
) -> Calibration:
    """Return the calibration that `found` and a `table` make with what is known from `before`.

    The document has one date: that of its newest entries. What an older one has aged since
    its own day is put into its uncertainty here, so that no time is lost. What tolerances
    know as well is left out.
    """
    age_u_rel = 0.0 if before is None else before.age_u_rel(made_at)
    scales = {} if before is None else {_scale_key(s): s for s in before.scales}
    offsets = {} if before is None else {_offset_key(o): o for o in before.offsets}
    volts = {} if before is None else {_volts_key(v): v for v in before.voltage_scales}
    scales = {
        key: s.model_copy(update={"u_k_rel": hypot(s.u_k_rel, age_u_rel)})
        for key, s in scales.items()
    }
    volts = {
        key: v.model_copy(update={"u_rel": hypot(v.u_rel, age_u_rel)}) for key, v in volts.items()
    }
    for one in found:
        if not one.serves:
            continue
        if one.kind == "scale":
            scale = _scale(one)
            scales[_scale_key(scale)] = scale
        elif one.kind == "offset":
            offset = _offset(one)
            offsets[_offset_key(offset)] = offset
        else:
            volt = _volts(one)
            volts[_volts_key(volt)] = volt
    linearity = None if before is None else before.onboard_table
    if table is not None:
        linearity = OnboardLinearity.of(table)
    return Calibration(
        schema=CALIBRATION_SCHEMA,
        id=str(uuid7()),
        rig_serial=serial,
        made_at=made_at,
        temperature_c=temperature_c,
        scales=list(scales.values()),
        offsets=list(offsets.values()),
        onboard_table=linearity,
        voltage_scales=list(volts.values()),
    )


@dataclass(frozen=True)
class CardRow:
    """One entry on the report card: before, correction, after, judged.

    `before_u95` and `after_u95` are half-widths at 95 %, `correction` what is put right and
    `limit` how far tolerances let it be: relative, or codes for an offset (`unit`). `main` is
    the source that makes most of `after_u95`.
    """

    what: str
    unit: str
    before_u95: float
    correction: float
    after_u95: float
    limit: float
    judged: str
    used: bool
    main: str
    how: str

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON form."""
        return dict(self.__dict__)


def card(found: Iterable[Found], load_ohms: list[float]) -> list[CardRow]:
    """Return the report card of what was found, in its order."""
    rows: list[CardRow] = []
    for one in found:
        relative = one.kind != "offset"
        scale = 1.0 / one.value if relative else 1.0
        rows.append(
            CardRow(
                what=_what(one, load_ohms),
                unit="relative" if relative else "codes",
                before_u95=half_width(Known(0.0, one.before.u)),
                correction=one.value - one.nominal,
                after_u95=scale * half_width(Known(one.value, one.u, one.dof, one.standard)),
                limit=one.before.limit,
                judged=_judged(one),
                used=one.serves,
                main=one.lines[0][0],
                how=one.how,
            )
        )
    return rows


def table_row(table: OnboardTable, profile: RigProfile) -> CardRow:
    """Return the row of the on-board converter's linearity, in codes (LSB)."""
    limit = profile.converter(ONBOARD).inl_limit_codes
    most = max(map(abs, table.correction_lsb))
    after = table.residual_lsb
    within = most <= TABLE_BEYOND * limit
    serves = after is not None and after < limit
    judged = "within tolerance" if within else "beyond tolerance: find out why"
    return CardRow(
        what="linearity of the on-board converter (its most)",
        unit="codes",
        before_u95=limit,
        correction=most,
        after_u95=limit if after is None else after,
        limit=limit,
        judged=judged,
        used=serves,
        main="the ramps",
        how="a capacitor's discharge",
    )


def card_lines(rows: Iterable[CardRow]) -> list[str]:
    """Return the report card in words: a heading and a line a row; ± at 95 %."""
    texts = [("", "before", "correction", "after", "most of it", "judged")]
    for row in rows:
        factor, unit = (100.0, "%") if row.unit == "relative" else (1.0, "codes")
        texts.append(
            (
                row.what,
                f"±{factor * row.before_u95:.3g} {unit}",
                f"{factor * row.correction:+.3f} {unit}",
                f"±{factor * row.after_u95:.2g} {unit}",
                row.main,
                row.judged,
            )
        )
    widths = [max(map(len, column)) for column in zip(*texts, strict=True)]
    return [
        "  ".join(text.ljust(width) for text, width in zip(line, widths, strict=True)).rstrip()
        for line in texts
    ]


def _judged(one: Found) -> str:
    where = "within tolerance" if one.within else "beyond tolerance: find out why"
    return where if one.serves else f"{where}; not used: tolerances tell more"


def _what(one: Found, load_ohms: list[float]) -> str:
    if one.kind == "scale":
        load, high, end = one.key
        return f"r with {load_ohms[load]:g} Ω, {_range(high)}, {end}"
    if one.kind == "offset":
        converter, channel, high = one.key
        return f"zero of {_CHANNELS[channel]}, {_range(high)}, {_CONVERTERS[converter]}"
    converter, high = one.key
    return f"volts, {_range(high)}, {_CONVERTERS[converter]}"


def _range(high: bool) -> str:
    return "16.5 V range" if high else "low range"


def _scale_key(s: Scale) -> tuple[int, bool, str]:
    return s.load, s.range_high, s.front_end


def _offset_key(o: Offset) -> tuple[str, str, bool]:
    return o.converter, o.channel, o.range_high


def _volts_key(v: VoltageScale) -> tuple[str, bool]:
    return v.converter, v.range_high


def _scale(one: Found) -> Scale:
    load, high, end = one.key
    dof = one.dof if isfinite(one.dof) else None
    return Scale(
        load=load,
        range_high=high,
        front_end=end,
        k=one.value,
        u_k_rel=one.u / one.value,
        dof=dof,
        standard=_standard(one),
    )


def _offset(one: Found) -> Offset:
    converter, channel, high = one.key
    return Offset(
        converter=_CONVERTERS[converter],
        channel=_CHANNELS[channel],
        range_high=high,
        codes=one.value,
        u_codes=one.u,
    )


def _volts(one: Found) -> VoltageScale:
    converter, high = one.key
    return VoltageScale(
        converter=_CONVERTERS[converter],
        range_high=high,
        factor=one.value,
        u_rel=one.u / one.value,
        standard=_standard(one),
    )


def _standard(one: Found) -> Standard | None:
    if one.standard is None:
        return None
    u_rel = one.standard.u / one.value
    return Standard(name=one.standard.name, u_rel=u_rel, bounded=one.standard.bounded)
