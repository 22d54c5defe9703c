# SPDX-License-Identifier: MIT
"""Where sagline keeps things: the settings, the logs, traces, calibrations, drawers.

Looking creates nothing; whoever writes makes the folder. The folders are those
that the system has for settings and for data of a program, or the one folder
that SAGLINE_HOME names.
"""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from sagline.errors import UsageError

HOME_VARIABLE = "SAGLINE_HOME"


@dataclass(frozen=True)
class Places:
    """Absolute paths of what sagline keeps; nothing need exist yet.

    `config` is the file of settings, `log` the log of real measurements, `demo_log`
    that of virtual runs; `traces`, `calibrations` and `drawers` are folders.
    """

    config: Path
    log: Path
    demo_log: Path
    traces: Path
    calibrations: Path
    drawers: Path


def find_places(env: Mapping[str, str] = os.environ) -> Places:
    """Return the places: all under SAGLINE_HOME where `env` has it, else the system's folders.

    Raises UsageError where SAGLINE_HOME is relative (it would mean another folder in
    every folder), or where no folder is or can be there. An empty one counts as unset.
    """
    home = env.get(HOME_VARIABLE)
    if home:
        settings = data = _checked(Path(home))
    else:
        import platformdirs

        settings = platformdirs.user_config_path("sagline", appauthor=False)
        data = platformdirs.user_data_path("sagline", appauthor=False)
    return Places(
        config=settings / "config.toml",
        log=data / "log.sqlite",
        demo_log=data / "demo-log.sqlite",
        traces=data / "traces",
        calibrations=data / "calibrations",
        drawers=data / "drawers",
    )


def _checked(home: Path) -> Path:
    if not home.is_absolute():
        raise UsageError(
            "bad_home",
            f"{HOME_VARIABLE} is {str(home)!r}, which is not a full path.",
            f"Set it to a full path such as {os.path.join(os.path.expanduser('~'), 'sagline')}.",
        )
    # The folder may be made later; then whatever part of its path is there must be a folder.
    there = next((part for part in (home, *home.parents) if os.path.lexists(part)), home)
    if not os.path.isdir(there):
        if os.path.islink(there):
            what = "a link that leads to no folder"
        else:
            what = (
                "a file, not a folder" if os.path.exists(there) else "on a drive that is not there"
            )
        raise UsageError(
            "bad_home",
            f"{HOME_VARIABLE} is {str(home)!r}, but {there} is {what}.",
            f"Set {HOME_VARIABLE} to a folder, or to one that can be made; or unset it.",
        )
    return home
