# SPDX-License-Identifier: MIT
"""The circuit of the rig, as it is drawn: symbols, stock of parts, one module a sheet."""
