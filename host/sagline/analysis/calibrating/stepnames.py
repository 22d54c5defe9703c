# SPDX-License-Identifier: MIT
"""What the steps of a calibration are called, where they are made and where they are advised."""

TABLE, ZERO = "table", "zero"


def scale(load_ohm: float, range_high: bool) -> str:
    """The scale of r with one load in one range."""
    return f"scale-{load_ohm:g}-{_range(range_high)}"


def volts(range_high: bool) -> str:
    """The scale of volts in one range."""
    return f"volts-{_range(range_high)}"


def load(load_ohm: float) -> str:
    """A load by its own ohms."""
    return f"load-{load_ohm:g}"


def _range(high: bool) -> str:
    return "high" if high else "low"
