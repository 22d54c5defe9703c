# SPDX-License-Identifier: MIT
"""Starts the board. Ctrl-C ends in the REPL with every gate low."""

import boot  # noqa: F401 - gates low before anything else is imported
from boards import pico

pico.start()
