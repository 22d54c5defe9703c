# SPDX-License-Identifier: MIT
"""What the converters' non-linearity does to the sag, by the weight every reading had."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

import numpy as np

from sagline.analysis.calibration import tap_per_code_v
from sagline.analysis.nonlinearity import LevelErrors, Process, WeightedCodes
from sagline.analysis.onboard_table import WIDE_CODES, WIDE_MARGIN_CODES, OnboardTable
from sagline.analysis.profile import RigProfile
from sagline.analysis.rows import Front, Rows, null_code_v
from sagline.analysis.values import ONBOARD, SENSE, FloatArray

BLOCK_CODES = 16.0
"""Blocks of one error, of the ADS1115: an assumption, as the data sheet gives a bound alone. Short
ones leave near levels little in common; of long ones a level that crosses some would average
less. What that does to the intervals `tests/bench/plant.py --block-codes` shows."""
BOW_CODES = 128.0
"""Distance of the knots of the on-board converter's bow: likewise."""
FINE = Process(limit_codes=0.25, span_codes=2.0, between="line")
"""On top, so that even levels a code apart are not taken to differ without error."""

NAMES = ("sense_open_inl_code", "sense_inl_code")


def processes_of(
    profile: RigProfile, front: Front, converter: int, table: OnboardTable | None = None
) -> tuple[Process, ...]:
    """The processes whose sum is assumed for a front end's non-linearity.

    Of the on-board converter, a `table` that corrects it leaves its own residual, and what is
    too fine for its knots.
    """
    if front is Front.NULL:
        if profile.null is None:
            raise ValueError("the rig has no null channel")
        return _blocks(profile.null.inl_limit_codes)
    unit = ONBOARD if front is Front.BESIDE else converter
    # The part of the limit that wide codes take is no random process: see `widecodes.py`.
    limit_codes = profile.converter(unit).inl_limit_codes
    limit_codes -= 0.5 * profile.converter(unit).wide_codes
    if unit == ONBOARD and table is not None and table.residual_lsb is not None:
        return Process(table.residual_lsb, table.span_codes or BLOCK_CODES, between="cosine"), FINE
    if unit == ONBOARD:
        return Process(limit_codes - FINE.limit_codes, BOW_CODES, between="cosine"), FINE
    return _blocks(limit_codes)


def _blocks(limit_codes: float) -> tuple[Process, ...]:
    """Of one bound and nothing else known: together with the variance of a rectangle within it
    (JCGM 100, 4.3.7), of which what is fine takes its part."""
    fine_codes2 = FINE.limit_codes**2 * float(FINE.correlation(np.zeros(1))[0])
    if limit_codes**2 <= fine_codes2:
        return (Process(limit_codes, FINE.span_codes, between="step"),)
    return Process(sqrt(limit_codes**2 - fine_codes2), BLOCK_CODES, between="step"), FINE


def apart_v(
    profile: RigProfile,
    converter: int,
    range_high: bool,
    repeats: Sequence[Rows],
    weights: Sequence[FloatArray],
    current_a: float,
    table: OnboardTable | None = None,
) -> float:
    """S.d. (V) of one repeat's sag about the mean of all that non-linearity alone is expected to
    make, where they met the converter at other codes. 0 for a single repeat.

    As in `of_fit`, whose error of the mean has this over the root of their number in it.
    """
    count = len(repeats)
    if count < 2:
        return 0.0

    def sag_codes2(some: slice) -> float:
        errors = of_fit(
            profile,
            converter,
            range_high,
            repeats[some],
            weights[some],
            current_a,
            0.0,
            table,
        ).covariance()
        # The open level's part is in both levels and falls out.
        return float(errors[0, 0] - 2.0 * errors[0, 1] + errors[1, 1])

    alone = sum(sag_codes2(slice(one, one + 1)) for one in range(count))
    among = (alone - count * sag_codes2(slice(None))) / (count - 1)
    return sqrt(max(0.0, among)) * tap_per_code_v(profile, converter, SENSE, range_high)


def of_levels(
    profile: RigProfile,
    converter: int,
    open_code: float,
    loaded_code: float,
    null: bool = False,
    table: OnboardTable | None = None,
) -> LevelErrors:
    """The errors of an open and a loaded level that were read at one code each.

    With `null` their difference was read by the null channel, balanced at the open level.
    """
    if null:
        ratio = null_code_v(profile, False) / tap_per_code_v(profile, converter, SENSE, False)
        level = processes_of(profile, Front.LEVEL, converter)
        fine = processes_of(profile, Front.NULL, converter)
        balanced = np.array([0.0, (loaded_code - open_code) / ratio])
        sag = np.array([[0.0, 0.0], [-ratio, ratio]])
        return LevelErrors(
            NAMES,
            (
                *(WeightedCodes(one, np.array([open_code]), np.ones((2, 1))) for one in level),
                *(WeightedCodes(one, balanced, sag) for one in fine),
            ),
        )
    codes = np.array([open_code, loaded_code])
    processes = processes_of(profile, Front.LEVEL, converter, table)
    return LevelErrors(NAMES, tuple(WeightedCodes(one, codes, np.eye(2)) for one in processes))


def of_fit(
    profile: RigProfile,
    converter: int,
    range_high: bool,
    repeats: Sequence[Rows],
    weights: Sequence[FloatArray],
    current_a: float,
    open_code: float,
    table: OnboardTable | None = None,
) -> LevelErrors:
    """The errors of the open level of E and of the sag at one time.

    `weights` are those of each repeat's rows in r at that time (ohm per volt), `current_a` the
    current then. The loaded level's error is the open one's less the sag's, in codes of the
    converter that gives the level.
    """
    level_v = tap_per_code_v(profile, converter, SENSE, range_high)
    parts: list[WeightedCodes] = []
    for front in Front:
        chosen = [rows.is_from(front) for rows in repeats]
        if not any(one.any() for one in chosen):
            continue
        code_v = _code_v(profile, converter, front, range_high)
        codes = np.concatenate([rows.code[one] for rows, one in zip(repeats, chosen, strict=True)])
        share = np.concatenate([row[one] for row, one in zip(weights, chosen, strict=True)])
        sag = share * code_v / level_v * current_a / len(repeats)
        both = np.stack([np.zeros_like(sag), -sag])
        if front is Front.LEVEL:
            codes = np.append(codes, open_code)
            both = np.column_stack([both, np.ones(2)])
        parts += [
            WeightedCodes(process, codes, both, front.name)
            for process in processes_of(profile, front, converter, table)
        ]
        if table is not None and (front is Front.BESIDE or converter == ONBOARD):
            parts += _within_wide_codes(0.5 * profile.converter(ONBOARD).wide_codes, codes, both)
    return LevelErrors(NAMES, tuple(parts))


def _within_wide_codes(
    half_codes: float, codes: FloatArray, both: FloatArray
) -> list[WeightedCodes]:
    """What a table leaves open within a wide code, which answers alike to all that it spans.

    Readings about one wide code err together, by up to half of what it is too wide.
    """
    parts: list[WeightedCodes] = []
    for code in WIDE_CODES if half_codes else ():
        near = np.abs(codes - code) <= half_codes + WIDE_MARGIN_CODES
        if near.any():
            process = Process(half_codes, 1.0, between="step")
            at = np.full(int(near.sum()), float(code))
            parts.append(WeightedCodes(process, at, both[:, near]))
    return parts


def _code_v(profile: RigProfile, converter: int, front: Front, range_high: bool) -> float:
    if front is Front.NULL:
        return null_code_v(profile, range_high)
    unit = ONBOARD if front is Front.BESIDE else converter
    return tap_per_code_v(profile, unit, SENSE, range_high)
