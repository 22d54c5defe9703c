# SPDX-License-Identifier: MIT
"""`python -m sagline` is the `sagline` command."""

import sys

from sagline.cli import main

if __name__ == "__main__":
    sys.exit(main())
