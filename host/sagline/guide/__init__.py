# SPDX-License-Identifier: MIT
"""The handbook: plain pages of at most 80 columns, and single entries found in them."""
