# SPDX-License-Identifier: MIT
"""The commands, one module each: `add(commands)` declares it, `run(args)` does it.

Modules import at the top only what every start needs; the rest inside `run`.
"""
