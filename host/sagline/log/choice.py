# SPDX-License-Identifier: MIT
"""Which log a run goes to: real measurements and simulated ones never share one unasked."""

from pathlib import Path
from typing import TYPE_CHECKING

from sagline.config import load_config, real_log
from sagline.places import find_places

if TYPE_CHECKING:
    from sagline.device.rig import Rig


def usual_log(*, demo: bool) -> Path:
    """Return the log of real measurements, or with `demo` that of simulated ones."""
    places = find_places()
    return places.demo_log if demo else real_log(places, load_config(places))


def log_for(rig: "Rig", given: Path | None) -> Path | None:
    """Return the log for what `rig` measures: `given`, else the usual one of its kind.

    None for a replay: nothing is measured in it, and its run is in a log already.
    """
    if given is not None:
        return given
    if rig.is_replay:
        return None
    return usual_log(demo=rig.is_virtual)
