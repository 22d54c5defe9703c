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
├── NotStored        5  the result exists but could not be kept
└── Cancelled      130  the user stopped it; the load is off
"""

from sagline_board import faults


def sentence(text: str) -> str:
    """Return `text` as a sentence: a capital first letter, unless a symbol, and a full stop."""
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
            f"The board refused: {text} ({number}).",
            _REMEDIES.get(number, "See the error table in protocol.md for what leads to it."),
        )
        self.number = number

    @property
    def is_trip(self) -> bool:
        """Whether the guard has tripped: no step starts before that is cleared."""
        return faults.TRIP_OVER_VOLTAGE <= self.number <= faults.REFUSED_TRIPPED


class NotStored(SaglineError):
    """The result was made but could not be stored."""

    exit_status = 5


class Cancelled(SaglineError):
    """The user stopped the measurement; the load is off."""

    exit_status = 130


_AFTER_TRIP = "Then measure with --clear-trip, or press s again on the screen."
_REMEDIES = {
    faults.TRIP_OVER_VOLTAGE: f"Take the cell out and check what it is. {_AFTER_TRIP}",
    faults.TRIP_OVER_CURRENT: f"Choose a load of more ohms. {_AFTER_TRIP}",
    faults.TRIP_ON_TIME: f"Take the cell out and check the load's switch. {_AFTER_TRIP}",
    faults.TRIP_ENERGY: f"Choose a load of more ohms or a shorter time. {_AFTER_TRIP}",
    faults.TRIP_CAPTURE: f"Send *TST? to the board to see whether it reads. {_AFTER_TRIP}",
    faults.TRIP_RECORD: f"Ask for shorter times. {_AFTER_TRIP}",
    faults.REFUSED_TRIPPED: f"See to what made it trip. {_AFTER_TRIP}",
    faults.REFUSED_VOLTAGE: "Take the cell out, check its voltage: at most 16.5 V is allowed.",
    faults.REFUSED_CURRENT: "Choose a load of more ohms with --load.",
    faults.REFUSED_ON_TIME: "Ask for shorter times, or choose a load of more ohms.",
    faults.REFUSED_ENERGY: "Choose a load of more ohms with --load, or shorter times.",
    faults.REFUSED_HOT: "Wait until the load has cooled, then try again.",
    faults.REFUSED_RECORD: "Ask for shorter times.",
    faults.REFUSED_SESSION: "The board has started anew, or another program took it. See to its "
    "supply and cable, then measure again.",
}
