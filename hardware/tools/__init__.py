# SPDX-License-Identifier: MIT
"""What reads the drawn circuit: netlist, rules, parts list, wiring, decks, picture."""
