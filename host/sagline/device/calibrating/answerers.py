# SPDX-License-Identifier: MIT
"""The hands of a simulated rig as who answers a guided step's prompts."""

from typing import TYPE_CHECKING

from sagline.device.calibrating.prompts import Prompt
from sagline.errors import UsageError

if TYPE_CHECKING:
    from sagline.virtual.hands import Hands


class ByHands:
    """Does what each prompt says, by a virtual rig's hands.

    `resistor_error_rel` is how far an added resistor truly is from its stated value.
    """

    def __init__(self, hands: "Hands", resistor_error_rel: float = 0.0) -> None:
        self._hands = hands
        self._before = hands.cell
        self._resistor_error_rel = resistor_error_rel

    def __call__(self, prompt: Prompt) -> str:
        """Do it; return what was read, "" for nothing."""
        read = None
        for verb, arguments in prompt.actions:
            if verb == "insert" and arguments == (self._hands.cell,):
                continue
            if verb == "add_series":
                arguments = (arguments[0] * (1.0 + self._resistor_error_rel),)
            read = getattr(self._hands, verb)(*arguments)
        if prompt.wants is None or (read is None and prompt.usual is not None):
            return ""
        if read is None:
            raise UsageError(
                "hands_cannot",
                f"The hands of a simulated rig cannot do this: {prompt.text}",
                "Leave this step out; it is for a rig of metal.",
            )
        return f"{read:.4f}"

    def leave(self) -> None:
        """Put the cell back that was there first."""
        if self._before is not None and self._before != self._hands.cell:
            self._hands.insert(self._before)
