# SPDX-License-Identifier: MIT
"""The rigs that an app has opened, so that a test can look at their gates."""

from typing import Any

from sagline.device.rig import Rig


class OpenedRigs(list[Rig]):
    """Every rig opened so far, the newest last."""

    def port(self) -> Any:
        """The virtual port behind the newest rig."""
        return self[-1]._link._port

    def gate_mask(self) -> int:
        """The loads that are on at the newest rig."""
        return self.port().hardware.gate_mask()
