# SPDX-License-Identifier: MIT
"""What may be typed of readings by hand: the one list, for the command line, files and forms."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sagline.analysis.hand.typed import positive, stated, typed
from sagline.errors import UsageError

VOLTMETER, LINE, SLIDEWIRE = WAYS = ("voltmeter", "line", "slidewire")
LOAD, AMPS, WATTS = CLOSERS = ("load", "amps", "watts")

SIGNED, POSITIVE, STATED, PAIR, SWITCH, WORDS = (
    "signed", "positive", "stated", "pair", "switch", "words",
)  # fmt: skip
"""What a field takes: a number, one above zero, a standard uncertainty (also in per cent), two
numbers above zero, yes or no, or a line of text."""


@dataclass(frozen=True)
class Field:
    """Something that may be typed. `label` is what a person calls it, `unit` its unit.

    It means something for `ways`, and where groups are closed by one of `closers`.
    """

    name: str
    label: str
    unit: str
    takes: str
    means: str
    ways: tuple[str, ...] = WAYS
    closers: tuple[str, ...] = CLOSERS

    @property
    def option(self) -> str:
        """The name as it is typed on the command line: "--u-volts"."""
        return option(self.name)

    def unit_for(self, way: str) -> str:
        """Its unit, cm for what is a length on a wire where it is else a voltage."""
        return "cm" if way == SLIDEWIRE and self.name in ("open", "loaded") else self.unit

    def is_for(self, way: str, closer: str) -> bool:
        """Whether it means something there."""
        return way in self.ways and closer in self.closers

    def check(self, text: str) -> None:
        """Raise UsageError, which names the field by its label, for what it does not take."""
        match self.takes:
            case "signed":
                typed(self.label, text)
            case "positive":
                positive(self.label, text)
            case "stated":
                stated(self.label, text)
            case "pair":
                _check_pair(self.label, text)
            case "switch":
                is_yes(self.label, text)


def option(name: str) -> str:
    """Return the name as it is typed: "--u-volts"."""
    return f"--{name.replace('_', '-')}"


def is_yes(name: str, text: str) -> bool:
    """Read yes or no. Raises UsageError naming `name`."""
    if text.strip().lower() not in ("yes", "no"):
        raise UsageError("not_yes_or_no", f"{name} is {text!r}.", "Type yes or no.")
    return text.strip().lower() == "yes"


def _check_pair(name: str, text: str) -> None:
    both = [positive(name, one) for one in text.split()]
    if len(both) != 2:
        raise UsageError(
            "not_two_numbers", f"{name} is {text!r}.", "Give two numbers, such as 20 5."
        )


_METERS = (VOLTMETER, LINE)

READINGS = (
    Field("open", "open", "V", SIGNED, "open voltage, or balance length without load"),
    Field("loaded", "loaded", "V", SIGNED, "the same with the load"),
    Field("load", "load", "Ω", POSITIVE, "the load they were read on; closes the group",
          closers=(LOAD,)),
    Field("amps", "current", "A", SIGNED, "or the current, negative where the cell is charged",
          _METERS, (AMPS,)),
    Field("watts", "power", "W", POSITIVE, "or the power in the load", _METERS, (WATTS,)),
)  # fmt: skip
"""What is read, in the order in which a group is typed."""

UNCERTAINTIES = (
    Field("u_volts", "u of volts", "V", STATED, "standard uncertainty of a voltage, or 0.5%"),
    Field("u_amps", "u of amperes", "A", STATED, "standard uncertainty of a current, or 0.5%",
          _METERS, (AMPS,)),
    Field("u_watts", "u of watts", "W", STATED, "standard uncertainty of a power, or 0.5%",
          _METERS, (WATTS,)),
    Field("u_ohm", "u of ohms", "Ω", STATED, "standard uncertainty of a load, or 0.5%",
          closers=(LOAD,)),
    Field("u_length", "u of lengths", "cm", STATED, "standard uncertainty of a length, or 0.5%",
          (SLIDEWIRE,)),
)  # fmt: skip

CIRCUIT = (
    Field("lead_ohm", "leads", "Ω", POSITIVE,
          "leads in series with the load, beyond where the cell is read", closers=(LOAD,)),
    Field("end_correction", "end correction", "cm", SIGNED, "added to every length",
          (SLIDEWIRE,)),
    Field("null_width", "width of null", "cm", POSITIVE,
          "length over which no deflection is seen", (SLIDEWIRE,)),
    Field("wire_length", "wire length", "cm", POSITIVE,
          "length of the wire; what lies beyond is refused", (SLIDEWIRE,)),
    Field("gradient", "gradient", "V/cm", POSITIVE, "volts per centimetre, for E", (SLIDEWIRE,)),
    Field("standard_emf", "standard cell", "V", POSITIVE, "or a standard cell's EMF",
          (SLIDEWIRE,)),
    Field("standard_length", "its length", "cm", POSITIVE, "and its balance length",
          (SLIDEWIRE,)),
    Field("volts_change", "ΔV alone", "V", SIGNED, "the change of voltage alone", (LINE,),
          (AMPS,)),
    Field("amps_change", "for ΔI", "A", SIGNED, "for this change of current: r without E",
          (LINE,), (AMPS,)),
    Field("rated_amps", "rated current", "A", POSITIVE,
          "the cell's rated current, to hold two currents against", (LINE,), (AMPS,)),
)  # fmt: skip

TIMES = (
    Field("closed_s", "key closed for", "s", POSITIVE, "how long the key was closed"),
    Field("closed_each", "or either time", "s", PAIR,
          "the same at either of two currents, where it differed", (LINE,), (AMPS,)),
)  # fmt: skip

SWITCHES = (
    Field("fit_open", "fit open", "yes", SWITCH, "take the open voltage for a point of it",
          (LINE,)),
    Field("extrapolate", "extrapolate", "yes", SWITCH, "give the E of two points all the same",
          (LINE,)),
)  # fmt: skip

ABOUT = (
    Field("label", "label", "", WORDS, "your name for the cell"),
    Field("designation", "designation", "", WORDS, "what is printed on it, e.g. LR6 (IEC 60086)"),
    Field("temperature_c", "temperature", "°C", SIGNED, "the cell's"),
    Field("operator", "operator", "", WORDS, "who measures (default: as set in config.toml)"),
)

FIELDS = (*TIMES, *UNCERTAINTIES, *CIRCUIT, *SWITCHES, *ABOUT)
"""Everything that is typed once, in the order of a form."""

STATED_OPTIONS = (*UNCERTAINTIES, *CIRCUIT, TIMES[1])
"""The options of `Sheet`; what else is typed once has an attribute of its own."""


def named(name: str, among: Iterable[Field] = (*READINGS, *FIELDS)) -> Field:
    """Return the field of this name. Raises KeyError."""
    return {field.name: field for field in among}[name]
