# SPDX-License-Identifier: MIT
"""machine.mem32 of the stand-in chip: the blocks that have registers, by their base address."""

from __future__ import annotations

from typing import Any

from board.rp2_standin import Chip

# What the interpreter takes for an access (an assumption, on the short side).
ACCESS_US = 8


class Registers:
    """machine.mem32 over `blocks`; an address of none of them is a mistake."""

    def __init__(self, chip: Chip, blocks: list[Any]) -> None:
        self._chip = chip
        self._blocks = blocks

    def _find(self, address: int) -> tuple[Any, int]:
        for block in self._blocks:
            if block.base <= address < block.base + 0x4000:
                return block, address - block.base
        raise AssertionError(f"nothing of ours at {address:#x}")

    def __getitem__(self, address: int) -> int:
        block, offset = self._find(address)
        self._chip.now_us += ACCESS_US
        self._chip.access()
        return block.read(offset)

    def __setitem__(self, address: int, value: int) -> None:
        block, offset = self._find(address)
        self._chip.now_us += ACCESS_US
        self._chip.access(lambda: block.write(offset, value))
