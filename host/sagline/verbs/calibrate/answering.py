# SPDX-License-Identifier: MIT
"""Who answers a guided step: a person on this terminal or line, or a simulated rig's hands."""

import json
import sys
from typing import TYPE_CHECKING

from sagline.errors import UsageError
from sagline.streams import tell
from sagline.verbs.calibrate.common import fleeting

if TYPE_CHECKING:
    from sagline.device.calibrating.prompts import Answerer, Prompt
    from sagline.device.rig import Rig


class Person:
    """Asks in words, or in JSON with `as_json`, and reads a line of standard input."""

    def __init__(self, as_json: bool) -> None:
        self._as_json = as_json

    def __call__(self, prompt: "Prompt") -> str:
        """Return what the person says. Raises UsageError where the input has ended."""
        if self._as_json:
            print(json.dumps({"prompt": prompt.to_dict()}), flush=True)
        else:
            tell("\n" + "\n".join(words(prompt)))
        line = sys.stdin.readline()
        if not line:
            raise UsageError(
                "no_answer",
                f"Nobody answered: {prompt.text}",
                "Run it on a terminal, or give a line of standard input for every prompt.",
            )
        return line.strip()


def words(prompt: "Prompt") -> list[str]:
    """Return a prompt as a person reads it."""
    units = {"volts": "volts", "ohm": "ohms"}
    lines = [prompt.text]
    if prompt.caution is not None:
        lines.append(f"  Beware: {prompt.caution}")
    if prompt.wants is None:
        lines.append("  Then press Enter.")
    elif prompt.usual is None:
        lines.append(f"  Type the {units[prompt.wants]}, then press Enter.")
    else:
        lines.append(
            f"  Type the {units[prompt.wants]}, or nothing for {prompt.usual:g}, then press Enter."
        )
    return lines


def answerer_for(rig: "Rig", as_json: bool) -> "Answerer":
    """Return the hands of a rig simulated in this program, a person for any other."""
    if not fleeting(rig):
        return Person(as_json)
    from sagline.device.calibrating.answerers import ByHands

    return ByHands(rig.hands())
