# SPDX-License-Identifier: MIT
"""An integer that notices when it outgrows a small integer of a 32-bit board.

MicroPython's unix port has 64-bit words and hides such allocations, so the
arithmetic of the board is run on these instead.
"""

SMALL = 1 << 30


class Watched(int):
    """Every result of its arithmetic is Watched too, and must stay below 2**30 in size."""

    def __new__(cls, value):
        assert -SMALL <= int(value) < SMALL, f"{int(value)} needs more than a small integer"
        return super().__new__(cls, value)


def _watch(name):
    plain = getattr(int, name)

    def operate(self, other):
        result = plain(self, other)
        return result if result is NotImplemented else Watched(result)

    setattr(Watched, name, operate)


for _name in ("add", "sub", "mul", "floordiv", "mod", "lshift", "rshift", "and", "or"):
    _watch(f"__{_name}__")
    _watch(f"__r{_name}__")


def watch(value):
    """Return `value` with every integer in it watched."""
    if isinstance(value, dict):
        return {key: watch(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return type(value)(watch(item) for item in value)
    return Watched(value) if isinstance(value, int) else value
