# SPDX-License-Identifier: MIT
"""A run as a page to print: one HTML file that needs nothing else. Pure: documents in, text out."""
