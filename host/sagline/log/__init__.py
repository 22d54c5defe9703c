# SPDX-License-Identifier: MIT
"""The logbook: every run's record and the results computed from it, in one SQLite file."""
