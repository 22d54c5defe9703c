# SPDX-License-Identifier: MIT
"""Faults of a virtual rig by name, as `fault=` lists them.

    absent, reversed, open_sense_pos, ..., contact_100mohm     from the start
    mosfet_on[:OHM], mosfet_off                                 from the start
    removed[:N], over_voltage[:N], unplugged[:N], reset[:N]     0.1 s after load on, once
    bytes_lost:RATE, bytes_flipped:..., bytes_doubled:..., bytes_inserted:...

N is the step, 1 first and the default. OHM is the load whose selector MOSFET is shorted, the
smallest by default. RATE is the probability for each byte, each way.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from sagline.errors import UsageError
from sagline.virtual.wiring import LEADS, Wiring
from sagline_board import profile
from sagline_board.commands import ARM_ALONE

STEP_DELAY_US = 100_000
CONTACT_OHM = 0.1
OVER_VOLTAGE_V = 20.0

CIRCUIT_EVENTS = ("removed", "over_voltage")
PORT_EVENTS = ("unplugged", "reset")
BYTE_FAULTS = ("bytes_lost", "bytes_flipped", "bytes_doubled", "bytes_inserted")
STATIC = (
    "absent",
    "reversed",
    *(f"open_{lead}" for lead in LEADS),
    "contact_100mohm",
    "mosfet_off",
)
NAMES = (*STATIC, "mosfet_on", *CIRCUIT_EVENTS, *PORT_EVENTS, *BYTE_FAULTS)

_SMALLEST = min(range(len(profile.LOADS)), key=lambda k: profile.LOADS[k]["load_milliohm"])


@dataclass(frozen=True)
class Faults:
    """What is wrong with a rig.

    `shorted` is a mask of loads whose selector MOSFET conducts always; `dead` says that no gate
    has any effect. `events` pairs a name with the number of the step in which it happens,
    `rates` gives a byte fault's probability.
    """

    wiring: Wiring = field(default_factory=Wiring)
    contact_ohm: float = 0.0
    shorted: int = 0
    dead: bool = False
    events: tuple[tuple[str, int], ...] = ()
    rates: Mapping[str, float] = field(default_factory=dict)

    def conducting(self, mask: int, armed: bool = False) -> int:
        """The loads that carry current when those of `mask` are switched on.

        The ARM MOSFET is sound: while it is open nothing flows. ARM_ALONE closes it, and where
        there is a link in its place the path is `armed` for ever.
        """
        if self.dead or not (mask or armed):
            return 0
        return mask & ~ARM_ALONE | self.shorted


def parse_faults(text: str) -> Faults:
    """Return the faults in a comma-separated list. Raises UsageError naming what is wrong."""
    faults = Faults()
    for item in filter(None, text.split(",")):
        name, colon, value = item.partition(":")
        if name not in NAMES:
            raise UsageError(
                "unknown_fault", f"There is no fault {name!r}.", f"Use one of: {', '.join(NAMES)}."
            )
        faults = _with(faults, name, value if colon else None)
    return faults


def _with(faults: Faults, name: str, value: str | None) -> Faults:
    if name in BYTE_FAULTS:
        return replace(faults, rates={**faults.rates, name: _rate(name, value)})
    if name in CIRCUIT_EVENTS or name in PORT_EVENTS:
        return replace(faults, events=(*faults.events, (name, _step(name, value))))
    if name == "mosfet_on":
        return replace(faults, shorted=faults.shorted | 1 << _load(value))
    if value is not None:
        raise UsageError(
            "bad_fault", f"The fault {name} takes no value.", f"Leave {value!r} out of the address."
        )
    wiring = faults.wiring
    if name == "absent":
        return replace(faults, wiring=replace(wiring, present=False))
    if name == "reversed":
        return replace(faults, wiring=replace(wiring, reversed=True))
    if name == "contact_100mohm":
        return replace(faults, contact_ohm=CONTACT_OHM)
    if name == "mosfet_off":
        return replace(faults, dead=True)
    lost = frozenset(lead for lead in LEADS if name == f"open_{lead}")
    return replace(faults, wiring=replace(wiring, lost=wiring.lost | lost))


def _rate(name: str, value: str | None) -> float:
    try:
        rate = float(value or "")
    except ValueError:
        rate = -1.0
    if not 0.0 <= rate <= 1.0:
        raise UsageError(
            "bad_fault",
            f"The fault {name} needs a rate between 0 and 1.",
            f"Write for example {name}:0.001.",
        )
    return rate


def _step(name: str, value: str | None) -> int:
    if value is None:
        return 1
    if not value.isdecimal() or int(value) < 1:
        raise UsageError(
            "bad_fault",
            f"The fault {name} happens in step 1, 2, ..., not {value!r}.",
            f"Write for example {name}:2, or {name} for the first step.",
        )
    return int(value)


def _load(value: str | None) -> int:
    if value is None:
        return _SMALLEST
    bank = [f"{load['load_milliohm'] / 1000:g}" for load in profile.LOADS]
    if value not in bank:
        raise UsageError(
            "bad_fault",
            f"The rig has no load of {value} Ω.",
            f"Write mosfet_on: and one of {', '.join(bank)}.",
        )
    return bank.index(value)
