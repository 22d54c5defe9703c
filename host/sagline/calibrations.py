# SPDX-License-Identifier: MIT
"""A rig's calibration as one JSON document, versioned: what was found, how well, and when.

It holds corrections to the rig's nominal values. A record holds the one it was made with, so
that its figures can be computed again; a result names it by its id.
"""

from collections.abc import Hashable, Iterable
from datetime import datetime
from math import hypot, inf
from typing import Any, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, model_validator

from sagline.analysis import calibrated
from sagline.analysis.onboard_table import OnboardTable
from sagline.errors import UsageError

CALIBRATION_SCHEMA = "sagline-calibration-1"

DRIFT_PER_YEAR = 1e-3
"""Standard uncertainty that a scale gains in a year, relative. A choice of ours: thin-film
dividers and references drift by some 0.05 % in a year and wire-wound loads run at half of what
they are rated for by 0.1 % (from memory)."""

# RFC 9562, 5.7: version and variant stand at fixed places.
_UUID7 = r"^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$"

_YEAR_S = 365.25 * 86400.0

_CONVERTERS = ("onboard", "ads1115")
_CHANNELS = ("sense", "force", "return")

Converter = Literal["onboard", "ads1115"]
Channel = Literal["sense", "force", "return"]
FrontEnd = Literal["onboard", "ads1115", "ads1115+null"]


class _Model(BaseModel):
    model_config = ConfigDict(
        strict=True,
        frozen=True,
        extra="forbid",
        allow_inf_nan=False,
        json_schema_serialization_defaults_required=True,
    )


class Standard(_Model):
    """What a value was compared with: values of one `name` err alike.

    `u_rel` is what it has in the value's u, relative; `bounded` where only limits are known of it.
    """

    name: str = Field(min_length=1, max_length=64)
    u_rel: float = Field(ge=0.0)
    bounded: bool

    def of(self, value: float) -> calibrated.Standard:
        """As the analysis takes it, for this value."""
        return calibrated.Standard(self.name, self.u_rel * value, self.bounded)


class Scale(_Model):
    """r is `k` times what nominal values give, for one load (its index), range, front end.

    `u_k_rel` holds what the `standard` has in it, null where that is not told apart.
    """

    load: int = Field(ge=0)
    range_high: bool
    front_end: FrontEnd
    k: float = Field(gt=0.0)
    u_k_rel: float = Field(ge=0.0)
    dof: float | None = Field(gt=0.0)
    standard: Standard | None = None


class Offset(_Model):
    """Codes at zero volts at a tap, less the nominal ones."""

    converter: Converter
    channel: Channel
    range_high: bool
    codes: float
    u_codes: float = Field(ge=0.0)


class OnboardLinearity(_Model):
    """What is added to the on-board converter's codes: knots, straight between.

    What is left is within ± `residual_lsb` and independent `residual_span_codes` apart; null
    where that was not found.
    """

    code: list[float] = Field(min_length=2)
    correction_lsb: list[float]
    residual_lsb: float | None = Field(ge=0.0)
    residual_span_codes: float | None = Field(gt=0.0)

    @model_validator(mode="after")
    def _knots_rise(self) -> "OnboardLinearity":
        if len(self.code) != len(self.correction_lsb):
            raise ValueError("each knot needs its correction")
        if any(later <= code for code, later in zip(self.code, self.code[1:], strict=False)):
            raise ValueError("the codes of the knots must rise")
        return self

    @classmethod
    def of(cls, table: OnboardTable) -> "OnboardLinearity":
        """The document of a table that ramps have found."""
        return cls(
            code=list(table.code),
            correction_lsb=list(table.correction_lsb),
            residual_lsb=table.residual_lsb,
            residual_span_codes=table.span_codes,
        )


class VoltageScale(_Model):
    """True volts at the sense tap over nominal ones, by a voltmeter, which is the `standard`."""

    converter: Converter
    range_high: bool
    factor: float = Field(gt=0.0)
    u_rel: float = Field(ge=0.0)
    standard: Standard | None = None


class Calibration(_Model):
    """What one calibration found of one rig. What a list lacks is not known."""

    schema_: Literal["sagline-calibration-1"] = Field(CALIBRATION_SCHEMA, alias="schema")
    id: str = Field(pattern=_UUID7)
    rig_serial: str
    # JSON has no times; their text is what is strict about them.
    made_at: AwareDatetime = Field(strict=False)
    temperature_c: float | None
    scales: list[Scale]
    offsets: list[Offset]
    onboard_table: OnboardLinearity | None
    voltage_scales: list[VoltageScale]

    @model_validator(mode="after")
    def _said_once(self) -> "Calibration":
        _once("scale", ((s.load, s.range_high, s.front_end) for s in self.scales))
        _once("offset", ((o.converter, o.channel, o.range_high) for o in self.offsets))
        _once("voltage scale", ((v.converter, v.range_high) for v in self.voltage_scales))
        return self

    def to_dict(self) -> dict[str, Any]:
        """Return the JSON document as plain dicts, lists, strings and numbers."""
        return self.model_dump(mode="json", by_alias=True)

    def require_rig(self, serial: str) -> None:
        """Raise UsageError where this is the calibration of another rig than `serial`."""
        if serial != self.rig_serial:
            raise UsageError(
                "calibration_of_another_rig",
                f"This calibration is that of rig {self.rig_serial}, and this rig is {serial}.",
                "Give the calibration of this rig, or leave it out.",
            )

    def age_u_rel(self, at: datetime) -> float:
        """Return the standard uncertainty, relative, that age has added to a scale at `at`."""
        return DRIFT_PER_YEAR * abs((at - self.made_at).total_seconds()) / _YEAR_S

    def at(self, at: datetime) -> calibrated.Calibration:
        """Return the calibration as the analysis takes it, with its age at `at`."""
        age_u_rel = self.age_u_rel(at)
        table = self.onboard_table

        def scaled(
            value: float, u_rel: float, standard: Standard | None, dof: float | None = None
        ) -> calibrated.Known:
            u = value * hypot(u_rel, age_u_rel)
            compared = None if standard is None else standard.of(value)
            return calibrated.Known(value, u, inf if dof is None else dof, compared)

        return calibrated.Calibration(
            id=self.id,
            scales={
                (s.load, s.range_high, s.front_end): scaled(s.k, s.u_k_rel, s.standard, s.dof)
                for s in self.scales
            },
            offsets={
                (
                    _CONVERTERS.index(o.converter),
                    _CHANNELS.index(o.channel),
                    o.range_high,
                ): calibrated.Known(o.codes, o.u_codes)
                for o in self.offsets
            },
            voltage_scales={
                (_CONVERTERS.index(v.converter), v.range_high): scaled(
                    v.factor, v.u_rel, v.standard
                )
                for v in self.voltage_scales
            },
            table=None
            if table is None
            else OnboardTable(
                tuple(table.code),
                tuple(table.correction_lsb),
                table.residual_lsb,
                table.residual_span_codes,
            ),
        )


def _once(what: str, keys: Iterable[Hashable]) -> None:
    listed = list(keys)
    twice = [key for key in dict.fromkeys(listed) if listed.count(key) > 1]
    if twice:
        raise ValueError(f"{what} {twice[0]} is given twice")
