# SPDX-License-Identifier: MIT
"""Build hook: a wheel carries the board's files for `sagline flash`.

An editable install reads them from the checkout instead, so that a changed
firmware file is never shadowed by an old copy.
"""

from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class FirmwareHook(BuildHookInterface):
    """Adds `firmware/` as `sagline/_firmware` to standard wheels."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Called by hatchling; `version` is `standard` or `editable`."""
        if version == "standard":
            firmware = Path(self.root) / "firmware"
            build_data["force_include"][str(firmware)] = "sagline/_firmware"
