# SPDX-License-Identifier: MIT
"""Loads of the bank together: what a mask of them is, as one load more of the profile."""

from __future__ import annotations

from dataclasses import replace

from sagline.analysis.profile import LoadProfile, RigProfile

ARM_SHARE = 0.5
"""Of a load's switch, the part that all loads share: two MOSFETs of one kind, its own and ARM."""

ARM_SHARE_LIMIT = 0.25
"""How far that may be off (assumption)."""


def members(mask: int) -> tuple[int, ...]:
    """Indices of the loads of a mask."""
    return tuple(bit for bit in range(mask.bit_length()) if mask >> bit & 1)


def load_ohm(profile: RigProfile, mask: int) -> float:
    """The resistors of a mask in parallel, without switches (ohm)."""
    return 1.0 / sum(1.0 / profile.loads[index].load_ohm for index in members(mask))


def words(profile: RigProfile, mask: int) -> str:
    """For example "3.3 ∥ 15 Ω"."""
    listed = sorted(profile.loads[index].load_ohm for index in members(mask))
    return " ∥ ".join(f"{ohm:g}" for ohm in listed) + " Ω"


def heaviest(profile: RigProfile, mask: int) -> int:
    """The load of fewest ohms in a mask."""
    return min(members(mask), key=lambda index: profile.loads[index].load_ohm)


def with_mask(profile: RigProfile, mask: int) -> tuple[RigProfile, int]:
    """The profile with the loads of a mask as one entry more, and its index.

    A single load is the one it is. The entry is for reading a step: whole milliohms, limits of the
    load of fewest ohms, and what that one holds of the heat, as if it took all of the current.
    """
    listed = members(mask)
    if len(listed) == 1:
        return profile, listed[0]
    bank = profile.loads
    own = [bank[index].switch_ohm * (1.0 - ARM_SHARE) for index in listed]
    arm = ARM_SHARE * sum(bank[index].switch_ohm for index in listed) / len(listed)
    whole = arm + 1.0 / sum(
        1.0 / (bank[index].load_ohm + ohm) for index, ohm in zip(listed, own, strict=True)
    )
    resistors = load_ohm(profile, mask)
    entry: LoadProfile = replace(
        bank[heaviest(profile, mask)],
        load_milliohm=round(1e3 * resistors),
        switch_milliohm=round(1e3 * (whole - resistors)),
        max_ma=sum(bank[index].max_ma for index in listed),
    )
    return replace(profile, loads=(*bank, entry)), len(bank)
