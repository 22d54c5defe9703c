# SPDX-License-Identifier: MIT
"""A cell as a TOML file: the format of the catalogue and of a user's own cells.

    emf_v = 1.58
    r_instant_ohm = 0.110
    rc = [[0.018, 0.0015], [0.024, 0.030]]   # pairs of ohms and time constant in s
    diffusion_ohm_per_sqrt_s = 0.030
    capacity_ah = 2.5
    temperature_c = 23.0

These must be there. `name` (default "custom"), `title` ("custom cell"), `designation` (none, so
no load is planned for it) and `emf_slope_v` (0: the EMF does not fall with the charge drawn, so
the capacity makes no difference) may be; so may `[origin]`, where each number comes from. The
limits are those of a cell worth simulating, wide enough for cells that the rig must refuse.
"""

import json
import tomllib
from pathlib import Path
from typing import Annotated, Any

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
)

from sagline.errors import UsageError
from sagline.virtual.cell import Cell, Origin

# More than any such file has.
_MOST_BYTES = 65_536
_MOST_PAIRS = 16
_MOST_OHM = 1e4
_MOST_S = 1e5


def _limits(
    *, meaning: str, unit: str, most: float, least: float | None = None, above: float | None = None
) -> Any:
    """The limits of one quantity, and its meaning and limits in words."""
    low = f"from {least:g} to" if least is not None else f"of more than {above:g} and at most"
    return Field(
        ge=least,
        gt=above,
        le=most,
        strict=True,
        allow_inf_nan=False,
        description=f"{meaning}, a number {low} {most:g} {unit}",
    )


def _printable(text: str) -> str:
    if not text.isprintable():
        raise ValueError("not printable")
    return text


_Words = Annotated[str, AfterValidator(_printable), Field(max_length=80)]
_Ohm = Annotated[float, _limits(meaning="resistance", unit="Ω", above=0, most=_MOST_OHM)]
_Tau = Annotated[float, _limits(meaning="time constant", unit="s", least=1 / _MOST_S, most=_MOST_S)]
_Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
_WORDS = "at most 80 printable characters"


class _Origin(BaseModel):
    model_config = ConfigDict(extra="forbid")

    low: _Number
    high: _Number
    text: _Words


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid")

    name: str = Field(
        "custom",
        pattern=r"^[A-Za-z0-9._-]{1,40}$",
        description="up to 40 letters, digits, points, hyphens and underscores",
    )
    title: _Words = Field("custom cell", description=_WORDS)
    designation: _Words = Field("", description=_WORDS)
    emf_v: float = _limits(meaning="open voltage when rested", unit="V", least=0.1, most=100)
    r_instant_ohm: float = _limits(
        meaning="resistance at once, r(0+)", unit="Ω", above=0, most=_MOST_OHM
    )
    rc: tuple[tuple[_Ohm, _Tau], ...] = Field(
        max_length=_MOST_PAIRS,
        description=f"a list of at most {_MOST_PAIRS} pairs [Ω, s], each of more than 0 and at "
        f"most {_MOST_OHM:g} Ω and from {1 / _MOST_S:g} to {_MOST_S:g} s; [] for none",
    )
    diffusion_ohm_per_sqrt_s: float = _limits(
        meaning="rise of resistance with the root of time", unit="Ω per root second",
        least=0, most=1e4,
    )  # fmt: skip
    capacity_ah: float = _limits(meaning="charge in it", unit="Ah", least=1e-4, most=1e5)
    temperature_c: float = _limits(meaning="temperature", unit="degrees C", least=-60, most=100)
    emf_slope_v: float = Field(
        0.0, ge=0, strict=True, allow_inf_nan=False,
        description="fall of the EMF over the whole capacity, a number from 0 to emf_v",
    )  # fmt: skip
    origin: dict[str, _Origin] = Field(
        {}, description="a table of { low = NUMBER, high = NUMBER, text = WORDS } for each key"
    )

    @field_validator("emf_slope_v")
    @classmethod
    def _no_further_than_to_nothing(cls, slope_v: float, info: ValidationInfo) -> float:
        # An EMF that is itself wrong is missing here, and is told of first.
        if slope_v > info.data.get("emf_v", slope_v):
            raise ValueError("more than emf_v")
        return slope_v


def load(path: Path) -> Cell:
    """The cell in the file at `path`.

    Raises UsageError: `unreadable_cell`, or `bad_cell` naming the line of what is not TOML, or
    the key whose value means nothing and what is allowed.
    """
    try:
        found = _File.model_validate(_table(path))
    except ValidationError as error:
        raise _bad_value(path, error) from None
    values = found.model_dump(exclude={"origin"})
    origin = {key: Origin(**entry.model_dump()) for key, entry in found.origin.items()}
    return Cell(**values, origin=origin)


def _shown(path: Path) -> str:
    """The path as it may be printed: it may have come from an address."""
    return "".join(sign if sign.isprintable() else "?" for sign in str(path))


def _table(path: Path) -> dict[str, Any]:
    try:
        if not path.is_file():
            what = "it is not a file" if path.exists() else "there is no such file"
            raise FileNotFoundError(0, what)
        with path.open("rb") as file:
            data = file.read(_MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or error
        raise UsageError(
            "unreadable_cell",
            f"The cell file {_shown(path)} cannot be read: {why}",
            "Name a TOML file; `sagline virtual truth --help` shows one.",
        ) from None
    if len(data) > _MOST_BYTES:
        raise _not_toml(path, f"it is longer than {_MOST_BYTES} bytes")
    try:
        # Some editors put a byte order mark first.
        return tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise _not_toml(path, "it is not text in UTF-8") from None
    except RecursionError:
        raise _not_toml(path, "lists are nested too deeply") from None
    except ValueError as error:
        raise _not_toml(path, str(error)) from None


def _not_toml(path: Path, why: str) -> UsageError:
    return UsageError(
        "bad_cell",
        f"The cell file {_shown(path)} is not TOML: {why}",
        "Write lines such as emf_v = 1.58; `sagline virtual truth --help` shows a whole file.",
    )


def _bad_value(path: Path, error: ValidationError) -> UsageError:
    """What is wrong in words: an unknown key before a missing one, for it may be misspelled."""
    details = sorted(error.errors(), key=lambda item: item["type"] != "extra_forbidden")[0]
    key, *inside = details["loc"]
    where = ", ".join(f"item {at + 1}" if isinstance(at, int) else at for at in inside)
    place = f"{key} ({where})" if where else str(key)
    if details["type"] == "extra_forbidden":
        return UsageError(
            "bad_cell",
            f"The cell file {_shown(path)} has an unknown key: {place}",
            f"Known keys are {', '.join(_File.model_fields)}; origin takes low, high and text.",
        )
    if details["type"] == "missing":
        said = f"lacks {place}"
    else:
        shown = json.dumps(details["input"], ensure_ascii=False, default=str)
        shown = shown if len(shown) <= 40 else f"{shown[:37]}..."
        said = f"says {place} = {shown}, which is not possible"
    return UsageError(
        "bad_cell",
        f"The cell file {_shown(path)} {said}",
        f"Allowed for {key}: {_File.model_fields[str(key)].description}.",
    )
