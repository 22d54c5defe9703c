# SPDX-License-Identifier: MIT
"""The firmware's profile, whether or not it is installed where this runs."""

from __future__ import annotations

import sys
from importlib import import_module
from pathlib import Path
from typing import Any

sys.path.append(str(Path(__file__).parents[2] / "firmware" / "lib"))
PROFILE: Any = import_module("sagline_board.profile")
