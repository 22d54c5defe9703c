# SPDX-License-Identifier: MIT
"""Read a result's JSON from standard input; fail unless its r_ohm is a finite, positive figure."""

import json
import math
import sys


def main() -> int:
    """0 where the result holds a usable r_ohm, else 1 with words."""
    r_ohm = json.load(sys.stdin)["r_ohm"]["value"]
    if isinstance(r_ohm, float) and math.isfinite(r_ohm) and r_ohm > 0:
        print(f"r_ohm {r_ohm:.6g}")
        return 0
    print(f"r_ohm is {r_ohm!r}")
    return 1


if __name__ == "__main__":
    sys.exit(main())
