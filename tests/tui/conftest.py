# SPDX-License-Identifier: MIT
"""What the tests of the terminal UI share."""

import pytest
from opened_rigs import OpenedRigs

from sagline.device import rig as rig_module
from sagline.device.rig import Rig


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> OpenedRigs:
    rigs = OpenedRigs()
    real = rig_module.open_rig

    def open_and_keep(address: str) -> Rig:
        rigs.append(real(address))
        return rigs[-1]

    monkeypatch.setattr(rig_module, "open_rig", open_and_keep)
    return rigs
