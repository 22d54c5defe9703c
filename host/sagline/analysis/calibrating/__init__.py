# SPDX-License-Identifier: MIT
"""From a calibration's readings to what it found, with its uncertainty. Pure, as the analysis is.

`tapstep` reads one step, `movedtap` finds the scale K, `zeros` the codes at zero volts,
`voltscale` the scale of volts, `fourwire` a scale from a load's known ohms; `ramp`, `rampfit` and
`ramptable` the on-board converter's linearity; `control` judges a check standard. `tolerances`
says what is known without any calibration.
"""
