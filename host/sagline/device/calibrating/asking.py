# SPDX-License-Identifier: MIT
"""What was told beforehand, and numbers out of what is answered."""

import math
from dataclasses import dataclass, replace

from sagline.device.calibrating.prompts import Answerer, Prompt
from sagline.errors import UsageError

TRIES = 3


@dataclass(frozen=True)
class Given:
    """What the user says beforehand; None leaves it to the step.

    `u_ohm` and `u_volts` are standard uncertainties of the resistor or load and of the meter;
    `repeats` steps are taken at each stay of the tap, twice that on the load side.
    """

    resistor_ohm: float | None = None
    u_ohm: float | None = None
    u_volts: float | None = None
    repeats: int = 2
    temperature_c: float | None = None

    def __post_init__(self) -> None:
        for name in ("resistor_ohm", "u_ohm", "u_volts"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0.0):
                raise UsageError(
                    "bad_number",
                    f"{value:g} cannot be the {name.split('_')[0]}'s value.",
                    "Give a number above 0, in Ω or V.",
                )
        if not 1 <= self.repeats <= 10:
            raise UsageError(
                "bad_repeats", f"{self.repeats} repeats are not possible.", "Ask for 1 to 10."
            )


def ask(prompt: Prompt, answer: Answerer) -> tuple[float, float]:
    """Return the number that a prompt wants, as `number` has it; what is none is asked for again.

    Raises UsageError where it is none TRIES times over.
    """
    asked = prompt
    for _ in range(TRIES - 1):
        try:
            return number(prompt, answer(asked))
        except UsageError as error:
            if error.code != "bad_answer":
                raise
            again = f"{error.message} {error.remedy} {prompt.text}"
            asked = replace(prompt, text=again, actions=())
    return number(prompt, answer(asked))


def number(prompt: Prompt, answer: str) -> tuple[float, float]:
    """Return the number in an answer and its last digit's place (both in the prompt's unit).

    Nothing said is what is usual, where the prompt has that. Raises UsageError.
    """
    text = answer.strip()
    if not text and prompt.usual is not None:
        return prompt.usual, 0.0
    try:
        # A comma in a single number is a decimal one.
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > 0.0):
        raise UsageError(
            "bad_answer",
            f"{text!r} is no number of {prompt.wants}.",
            "Answer with the number alone, for example 1.5824.",
        )
    mantissa, _, exponent = text.replace(",", ".").lower().partition("e")
    decimals = len(mantissa.partition(".")[2])
    return value, 10.0 ** (int(exponent or 0) - decimals)
