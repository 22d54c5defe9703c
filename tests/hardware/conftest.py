# SPDX-License-Identifier: MIT
"""The hardware's own tools are a program beside the package, not part of it."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "hardware"))
