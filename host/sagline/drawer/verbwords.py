# SPDX-License-Identifier: MIT
"""What can be said to a drawer at the rig: the one list of it."""

from collections.abc import Mapping

VERBS: Mapping[str, str] = {
    "again": "measure the last cell once more (turn it in its holder first), or that of LABEL",
    "skip": "no cell in this place: a row that says so; in a pause: leave this cell out",
    "go": "in a pause: measure all the same",
    "undo": "take the last thing back",
    "label": "the next cell's label is LABEL",
    "rename": "call the last row's cell LABEL",
    "cell": "cells are of this designation from now on, or of none",
    "reference": "make the last row's cell the reference of its designation, or that of LABEL",
    "stop": "stop the run that goes on; the load goes off",
    "end": "leave the drawer; it can be gone on with",
}
