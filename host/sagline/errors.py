# SPDX-License-Identifier: MIT
"""Every error a person may meet, with what to do about it and the exit status.

SaglineError
├── UsageError       2  the request itself is wrong
├── RigError         3  no rig, or the link to it is lost
│   ├── NoRig           none found
│   ├── LinkLost        the port went away or stopped answering
│   └── WrongDevice     something else, or another protocol, is on the port
├── Refused          4  guard or validity said no
│   └── BoardRefused    the board answered an error number
├── NotStored        5  the result exists but could not be kept or printed
└── Cancelled      130  the user stopped it; the load is off (128 + signal: a signal did)
"""

from sagline_board import faults

NEW_FIRMWARE = "put the firmware of this program on the board with `sagline flash`"
"""A remedy, to be put into sentences."""

REPLUG = "unplug the board and plug it in again"


def sentence(text: str) -> str:
    """Return `text` as a sentence: a capital first letter and a full stop.

    What comes first and is no word stays as it is: a symbol, a path, a name in quotes.
    """
    first = text.split(" ", 1)[0]
    if first.replace("-", "").replace(",", "").isalpha():
        text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."


class SaglineError(Exception):
    """An error with a code for programs, words for people, and a remedy."""

    exit_status = 1

    def __init__(self, code: str, message: str, remedy: str) -> None:
        self.code = code
        self.message = sentence(message)
        self.remedy = sentence(remedy)
        super().__init__(self.message)

    def to_dict(self) -> dict[str, dict[str, str]]:
        """Return the JSON form: {"error": {"code", "message", "remedy"}}."""
        return {"error": {"code": self.code, "message": self.message, "remedy": self.remedy}}


class UsageError(SaglineError):
    """The request cannot be understood or names something that does not exist."""

    exit_status = 2


class RigError(SaglineError):
    """No rig, or the link to it failed."""

    exit_status = 3


class NoRig(RigError):
    """No rig was found."""


class LinkLost(RigError):
    """The port went away, or the board stopped answering."""


class WrongDevice(RigError):
    """What answers is not a sagline board, or speaks another protocol version."""


class Refused(SaglineError):
    """A limit of the guard or a rule of validity forbids it."""

    exit_status = 4


class BoardRefused(Refused):
    """The board answered with an error number."""

    def __init__(self, number: int, text: str) -> None:
        super().__init__(
            f"board_{number}".replace("-", "m"),
            _what_happened(number, text),
            _REMEDIES.get(number, f"{REPLUG}, then measure again. If it stays so, {NEW_FIRMWARE}"),
        )
        self.number = number

    @property
    def is_trip(self) -> bool:
        """Whether the guard has tripped: no step starts before that is cleared."""
        return faults.TRIP_OVER_VOLTAGE <= self.number <= faults.REFUSED_TRIPPED


class NotStored(SaglineError):
    """The result was made but could not be stored, or printed."""

    exit_status = 5


class Cancelled(SaglineError):
    """The user stopped the measurement, or the signal `number` did; the load is off."""

    def __init__(self, code: str, message: str, remedy: str, number: int = 2) -> None:
        super().__init__(code, message, remedy)
        self.exit_status = self.status_for(number)

    @staticmethod
    def status_for(number: int) -> int:
        """Return what a shell says of a program that signal `number` ended; 2 is Ctrl-C."""
        return 128 + number


def _what_happened(number: int, text: str) -> str:
    if number == faults.REFUSED_TRIPPED:
        return f"The guard has tripped before, and lets no load on until that is cleared ({number})"
    if faults.TRIP_OVER_VOLTAGE <= number < faults.REFUSED_TRIPPED:
        return f"The guard stopped the load: {text.removeprefix('Guard: ')} ({number})"
    if faults.REFUSED_TRIPPED < number < faults.REFUSED_SESSION:
        return f"The guard lets no load on: {text[:1].lower()}{text[1:]} ({number})"
    return f"The board did not do what it was asked: {text} ({number})"


_AFTER_TRIP = "Then measure with --clear-trip, or press s again on the screen."
_REMEDIES = {
    faults.TRIP_OVER_VOLTAGE: f"Take the cell out and check what it is. {_AFTER_TRIP}",
    faults.TRIP_OVER_CURRENT: f"Choose a load of more ohms. {_AFTER_TRIP}",
    faults.TRIP_ON_TIME: f"Take the cell out and check the load's switch. {_AFTER_TRIP}",
    faults.TRIP_ENERGY: f"Choose a load of more ohms or a shorter time. {_AFTER_TRIP}",
    faults.TRIP_CAPTURE: f"{sentence(REPLUG)} {_AFTER_TRIP}",
    faults.TRIP_RECORD: f"Ask for shorter times. {_AFTER_TRIP}",
    faults.TRIP_HUNG: "See to the board's supply and its cable; with a load on, the firmware no "
    f"longer went on. {_AFTER_TRIP}",
    faults.MASS_STORAGE: "Make room on the board, then try again; what it kept before is still "
    "there if that was whole. If it stays so, put MicroPython and the firmware on it anew.",
    faults.INIT_IGNORED: "Wait until the step has ended, then try again.",
    faults.REFUSED_TRIPPED: f"See to what made it trip. {_AFTER_TRIP}",
    faults.REFUSED_VOLTAGE: "Take the cell out, check its voltage: at most 16.5 V is allowed.",
    faults.REFUSED_CURRENT: "Choose a load of more ohms with --load.",
    faults.REFUSED_ON_TIME: "Ask for shorter times, or choose a load of more ohms.",
    faults.REFUSED_ENERGY: "Choose a load of more ohms with --load, or shorter times.",
    faults.REFUSED_HOT: "Wait until the load has cooled, then measure again.",
    faults.REFUSED_RECORD: "Ask for shorter times.",
    faults.REFUSED_SESSION: "The board has started anew, or another program took it. See to its "
    "supply and cable, then measure again.",
}
