# SPDX-License-Identifier: MIT
"""One line of progress, kept up to date on a terminal and ended before anything else."""

import sys
from collections.abc import Sequence

from sagline.streams import tell


class ProgressLine:
    """Use as a context manager. Where standard error is no terminal, nothing is shown."""

    def __init__(self) -> None:
        self._wanted = sys.stderr.isatty()
        self._begun = False

    def __enter__(self) -> "ProgressLine":
        return self

    def __exit__(self, *_: object) -> None:
        if self._begun:
            tell("")

    def show(self, text: str) -> None:
        """Show `text` in place of what was shown before."""
        if self._wanted:
            self._begun = True
            tell(f"\r\x1b[K{text[:79]}", end="")

    def keep(self, lines: Sequence[str]) -> None:
        """Show `lines` and leave them; what is shown next gets a line of its own."""
        if self._wanted:
            tell("\r\x1b[K" + "\n".join(lines))
            self._begun = False
