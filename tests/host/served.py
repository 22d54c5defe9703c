# SPDX-License-Identifier: MIT
"""`sagline virtual serve` as a process of its own."""

import json
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass


@dataclass
class Served:
    """A running server."""

    process: subprocess.Popen[str]
    address: str
    port: int
    hands_port: int


@contextmanager
def serving(name: str) -> Iterator[Served]:
    """Serve the rig `name` on a free port; end it with Ctrl-C and check how it ends."""
    process = subprocess.Popen(
        [sys.executable, "-m", "sagline", "virtual", "serve", name, "--port", "0", "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    said = json.loads(process.stdout.readline())
    try:
        yield Served(process, said["address"], said["port"], said["hands_port"])
    finally:
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=20)
    assert (out, process.returncode) == ("", 130)
    assert json.loads(err)["error"]["code"] == "stopped"
