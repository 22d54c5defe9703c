# SPDX-License-Identifier: MIT
"""The files of a board that has a file system: those of one folder."""

import os


class FolderFiles:
    """The files in `folder`, a path that ends with "/", or "" for the current one."""

    def __init__(self, folder):
        self._folder = folder

    def size(self, name):
        """Return the file's bytes, -1 where there is no such file."""
        try:
            return os.stat(self._folder + name)[6]
        except OSError:
            return -1

    def read(self, name, offset, count):
        """Return up to `count` bytes from `offset`. Raises OSError."""
        with open(self._folder + name, "rb") as file:
            file.seek(offset)
            return file.read(count)

    def write(self, name, pieces):
        """Write the whole file anew. Raises OSError."""
        with open(self._folder + name, "wb") as file:
            for piece in pieces:
                file.write(piece)

    def remove(self, name):
        """Remove the file. Raises OSError."""
        os.remove(self._folder + name)
