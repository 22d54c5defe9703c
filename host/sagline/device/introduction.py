# SPDX-License-Identifier: MIT
"""What a board says of itself when it is met: who it is, and the values of its circuit."""

from dataclasses import dataclass
from itertools import product

from sagline.analysis.calibration import tap_volts
from sagline.analysis.profile import RigProfile
from sagline.analysis.thermistor import ThermistorProfile
from sagline.device.link import Link
from sagline.errors import NEW_FIRMWARE, WrongDevice
from sagline_board.profile import BASE


@dataclass(frozen=True)
class Identity:
    """The four fields of *IDN? and what the board can do."""

    maker: str
    model: str
    serial: str
    firmware: str
    protocol: str
    onboard: bool
    ads1115: bool
    one_shot: bool
    null: bool
    base: bool
    thermistor: bool


def identity_of(link: Link) -> Identity:
    """Ask who the board is. Raises WrongDevice where it answers otherwise; LinkLost."""
    said = link.request("identity").split(",")
    if len(said) != 4:
        raise WrongDevice(
            "bad_reply",
            f"The board answers *IDN? with {len(said)} fields instead of 4.",
            NEW_FIRMWARE,
        )
    maker, model, serial_number, firmware = said
    able = link.fields("capabilities")
    return Identity(
        maker,
        model,
        serial_number,
        firmware,
        f"{able['protocol_major']}.{able['protocol_minor']}",
        bool(able["onboard"]),
        bool(able["ads1115"]),
        bool(able["one_shot"]),
        bool(able["null"]),
        able["build"] == BASE,
        bool(able["thermistor"]),
    )


def thermistor_of(link: Link, identity: Identity) -> ThermistorProfile | None:
    """Ask for the thermistor's values; None where none is fitted. Raises WrongDevice, LinkLost."""
    if not identity.thermistor:
        return None
    said = link.fields("thermistor_values")
    if min(said.values()) < 1:
        raise WrongDevice(
            "bad_profile", "The values that the board gives of its thermistor make none.",
            NEW_FIRMWARE,
        )  # fmt: skip
    return ThermistorProfile.from_integers(said)


def profile_of(link: Link, identity: Identity) -> RigProfile:
    """Ask for the circuit's values. Raises WrongDevice where they make no circuit; LinkLost."""
    fitted = [c for c, name in enumerate(("onboard", "ads1115")) if getattr(identity, name)]
    ranges = link.fields("range_values")
    integers = {
        "loads": [link.fields("load_values", i) for i in range(link.fields("load_count")["count"])],
        "channels": [link.fields("channel_values", i) for i in range(3)],
        "reference": link.fields("reference_values"),
        "converters": {c: link.fields("converter_values", c) for c in fitted},
        "range_mv": (ranges["low_mv"], ranges["high_mv"]),
        "leads": link.fields("lead_values"),
        "null": link.fields("null_values") if identity.null else None,
    }
    try:
        profile = RigProfile.from_integers(integers)
        for converter, channel, high in product(fitted, range(3), (False, True)):
            tap_volts(profile, converter, channel, 0.0, high)
        if not (fitted and profile.loads):
            raise ValueError("no converter or no load")
        rows = (
            *integers["loads"],
            *integers["channels"],
            integers["reference"],
            integers["leads"],
            ranges,
        )
        if min(value for row in rows for value in row.values()) < 0:
            raise ValueError("a value below 0")
    except (ArithmeticError, LookupError, ValueError) as error:
        raise WrongDevice(
            "bad_profile",
            f"The values that the board gives of itself make no circuit: {error!r}.",
            NEW_FIRMWARE,
        ) from error
    return profile
