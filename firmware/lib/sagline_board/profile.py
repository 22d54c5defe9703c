# SPDX-License-Identifier: MIT
"""The rig's circuit values, once. Integers only; every key carries its unit.

The board answers these over the wire (commands.py names the fields), the host
computes with what the board answered, and the virtual circuit draws its parts
from the same nominal values and limits. A limit is the half-width of a
rectangular distribution about the nominal value.
"""

# One bit of a load mask per entry, in this order. `switch_*` is the two
# MOSFETs in series with the resistor (selector and ARM); their on-resistance rises
# by 0.4 % per kelvin near 25 C (silicon's mobility, from memory), which matters once
# a calibration has taken the tolerances away. `heat_mj_per_k` and `switch_heat_mj_per_k`
# are what warms within a pulse, the wire on its core and the two chips on their pads
# (assumptions, on the small side). The energy limits are at most half of what the part
# is rated for.
LOADS = (
    {
        "load_milliohm": 3300,
        "tolerance_ppm": 10000,
        "switch_milliohm": 41,
        "switch_tolerance_ppm": 250000,
        "tcr_ppm_per_k": 100,
        "switch_tcr_ppm_per_k": 4000,
        "heat_mj_per_k": 3000,
        "switch_heat_mj_per_k": 20,
        "max_mv": 13800,
        "max_ma": 4000,
        "max_on_ms": 1200,
        "max_pulse_mj": 50000,
        "mean_mw": 5000,
    },
    {
        "load_milliohm": 15000,
        "tolerance_ppm": 10000,
        "switch_milliohm": 41,
        "switch_tolerance_ppm": 250000,
        "tcr_ppm_per_k": 100,
        "switch_tcr_ppm_per_k": 4000,
        "heat_mj_per_k": 1500,
        "switch_heat_mj_per_k": 20,
        "max_mv": 16500,
        "max_ma": 1200,
        "max_on_ms": 1200,
        "max_pulse_mj": 22000,
        "mean_mw": 2500,
    },
    {
        "load_milliohm": 68000,
        "tolerance_ppm": 10000,
        "switch_milliohm": 41,
        "switch_tolerance_ppm": 250000,
        "tcr_ppm_per_k": 100,
        "switch_tcr_ppm_per_k": 4000,
        "heat_mj_per_k": 1000,
        "switch_heat_mj_per_k": 20,
        "max_mv": 16500,
        "max_ma": 260,
        "max_on_ms": 2000,
        "max_pulse_mj": 8500,
        "mean_mw": 1000,
    },
    {
        "load_milliohm": 470000,
        "tolerance_ppm": 10000,
        "switch_milliohm": 41,
        "switch_tolerance_ppm": 250000,
        "tcr_ppm_per_k": 100,
        "switch_tcr_ppm_per_k": 4000,
        "heat_mj_per_k": 300,
        "switch_heat_mj_per_k": 20,
        "max_mv": 16500,
        "max_ma": 40,
        "max_on_ms": 5000,
        "max_pulse_mj": 3000,
        "mean_mw": 500,
    },
)

# What is fitted. The base build has the first load behind its own switch alone, with a link in
# ARM's place, and the board's own converter.
FULL, BASE = 0, 1
_ALONE = dict(LOADS[0])
_ALONE["switch_milliohm"] = 20
_BASE_LOADS = (_ALONE,)


def loads_of(build):
    """Return the loads of a build."""
    return _BASE_LOADS if build == BASE else LOADS


# GPIO numbers. The gates stand next to each other, in the order of LOADS; ARM is
# the MOSFET in series with all of them, held off unless its pin keeps toggling.
# `range` low chooses the low range; floating or high is the 16.5 V range.
# `adc` is sense, force, return. `sda`, `scl` and `ready` lead to the ADS1115, `null` is the
# PWM of the null channel. `jumper` grounded keeps the firmware from
# starting; `build` grounded says that it is the base build; `smps` high makes the board's
# regulator run without bursts.
PINS = {
    "gates": (2, 3, 4, 5), "arm": 6, "range": 7, "sda": 8, "scl": 9, "ready": 10, "null": 11,
    "adc": (26, 27, 28), "jumper": 15, "build": 13, "smps": 23,
}  # fmt: skip

# CTRL of the chip's watchdog, and the bit in it that lets it run (RP2040 data sheet 4.7.6, RP2350
# 12.9.7): the firmware stops it there, and whoever writes files to a board looks there first.
WATCHDOG_CTRL = {"RP2040": 0x40058000, "RP2350": 0x400D8000}
WATCHDOG_ENABLE = 1 << 30

# ARM lets go at the latest this long after its pin has stopped toggling (simulated circuit).
ARM_HOLD_MS = 170

# Each channel is a node fed through `top_ohm` from its tap and through
# `lift_ohm` from the reference, with `foot_ohm` to ground. The 16.5 V range
# adds `range_foot_ohm` to ground. 0 means the part is not fitted.
SENSE, FORCE, RETURN = 0, 1, 2
CHANNELS = (
    {
        "top_ohm": 100000,
        "foot_ohm": 75000,
        "lift_ohm": 1000000,
        "range_foot_ohm": 16000,
        "tolerance_ppm": 1000,
        "follower_offset_uv": 500,
    },
    {
        "top_ohm": 100000,
        "foot_ohm": 75000,
        "lift_ohm": 1000000,
        "range_foot_ohm": 16000,
        "tolerance_ppm": 1000,
        "follower_offset_uv": 500,
    },
    {
        "top_ohm": 22000,
        "foot_ohm": 0,
        "lift_ohm": 220000,
        "range_foot_ohm": 0,
        "tolerance_ppm": 1000,
        "follower_offset_uv": 500,
    },
)

# The reference lifts the channels and is the on-board converter's full scale.
REFERENCE = {"reference_uv": 3000000, "tolerance_ppm": 2000}

# `lsb_nv` is the code width at the pin. The on-board converter's gain is the
# reference's, so its own gain limit is 0. `sample_ns` is the time of one
# conversion of one channel; `rate_tolerance_ppm` its limit. `wide_code_millilsb`
# is how much too wide four codes of the RP2040's converter are (erratum E11); a
# board with another chip answers 0.
ONBOARD, ADS1115 = 0, 1
CONVERTERS = (
    {
        "lsb_nv": 732422,
        "full_code": 4095,
        "gain_ppm": 0,
        "offset_millilsb": 4000,
        "inl_millilsb": 8000,
        "noise_millilsb": 970,
        "sample_ns": 2000,
        "rate_tolerance_ppm": 100,
        "wide_code_millilsb": 8900,
    },
    {
        "lsb_nv": 62500,
        "full_code": 32767,
        "gain_ppm": 1500,
        "offset_millilsb": 3000,
        "inl_millilsb": 1000,
        "noise_millilsb": 500,
        "sample_ns": 1162791,
        "rate_tolerance_ppm": 100000,
        "wide_code_millilsb": 0,
    },
)

# The null channel: a PWM of `settings` steps times a reference of its own gives a steady voltage
# to the ADS1115's fourth input, and sense less that is read in its finest range, where a code
# is `lsb_pv`. `range_match_ppm` is how far that range's gain may be from the plain one's,
# `load_shift_nv` how far the voltage moves at most when a load is switched.
NULL_DIFFERENCE = 3
NULL = {
    "settings": 4096,
    "reference_uv": 2500000,
    "tolerance_ppm": 2000,
    "lsb_pv": 7812500,
    "full_code": 32767,
    "range_match_ppm": 1000,
    "inl_millilsb": 1000,
    "noise_millilsb": 600,
    "load_shift_nv": 7700,
}

# The thermistor that may lie at the cell: an insulated bead of so many ohm at 25 C and of this
# B value (25 to 50 C), in series with a resistor.
THERMISTOR = {
    "reference_ohm": 10000,
    "reference_tolerance_ppm": 1000,
    "ohm_at_25": 10000,
    "tolerance_ppm": 10000,
    "b_k": 3950,
    "b_tolerance_ppm": 10000,
}

# Highest cell voltage that still fits each range (board's choice of range and
# over-voltage trip).
RANGE_MV = (4500, 16500)

# Leads and joints as an ordinary rig has them: the force leads fall out of the result and
# only the plan and the virtual circuit use them. The negative sense lead, most of it its
# 250 mA fuse when cold (from memory), may have anything from 0 to twice its value.
# `ground_tie_ohm` is from the return node to ground, beside a diode: what the drop of the
# return path drives through it lifts the board's ground by the sense lead's resistance.
FORCE_PATH_MILLIOHM = 90
# `force_max_ma` is what the force path may carry whichever loads are on: its blocking diode's
# rating, which is less than its fuse's.
LEADS = {
    "return_path_milliohm": 60,
    "sense_path_milliohm": 1500,
    "ground_tie_ohm": 10000,
    "force_max_ma": 5000,
}
