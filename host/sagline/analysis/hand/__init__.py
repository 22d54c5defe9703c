# SPDX-License-Identifier: MIT
"""Readings taken by hand: from what was typed to E and r with their uncertainty. Pure."""
