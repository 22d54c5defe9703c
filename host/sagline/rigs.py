# SPDX-License-Identifier: MIT
"""Which rig is meant: by nickname, port, serial number or URL, or the only one there is."""

import os

from sagline.config import Config, load_config, looks_like_port
from sagline.device.ports import PortInfo, is_same_port, is_serial_number, list_serial_ports
from sagline.errors import NoRig, UsageError


def resolve(wanted: str | None, config: Config | None = None) -> str:
    """Return the address of the rig that `wanted` names, of the usual rig, or of the only one.

    A nickname goes before everything else. `config` are the settings, read where left out.
    Raises NoRig where none is found, UsageError where several could be meant or the
    settings cannot be read.
    """
    config = config or load_config()
    if wanted is not None:
        return _named(wanted, config, f"{wanted!r}")
    if config.rig is not None:
        return _named(config.rig, config, f"{config.rig!r} ([defaults] rig in {config.file})")
    likely = [port for port in list_serial_ports() if port.likely]
    if not likely:
        raise NoRig(
            "no_rig",
            "No rig is connected.",
            "Connect one, or see it all work on a simulated one: sagline demo",
        )
    if len(likely) > 1:
        names = ", ".join(port.port for port in likely)
        raise UsageError(
            "several_rigs",
            f"Several boards are connected: {names}.",
            "Choose one with --rig PORT or --rig SERIAL.",
        )
    return likely[0].port


def _named(wanted: str, config: Config, asked_for: str) -> str:
    """Return the address for `wanted`; `asked_for` is how an error speaks of it."""
    address = config.rigs.get(wanted, wanted)
    if address != wanted:
        asked_for = f"{asked_for}, that is {address!r}"
    if "://" in address:
        return address
    port = listed_at(address, list_serial_ports())
    if port is not None:
        return port.port
    # A port the system does not list (a pseudo terminal, say) is tried as it is.
    if looks_like_port(address) or os.path.exists(address):
        return address
    raise NoRig(
        "unknown_rig",
        f"There is no rig {asked_for}: no nickname, port or serial number is so called.",
        _instead(address, config),
    )


def listed_at(address: str, ports: list[PortInfo]) -> PortInfo | None:
    """Return the port of `ports` that `address` names by port or serial number."""
    for port in ports:
        if is_same_port(address, port) or is_serial_number(address, port):
            return port
    return None


def _instead(wanted: str, config: Config) -> str:
    from sagline.virtual.cells import CELLS

    known = (
        f"Nicknames are {', '.join(config.rigs)}"
        if config.rigs
        else f"No nickname is set in {config.file}"
    )
    simulated = wanted.lower()
    meant = f"The simulated one is 'virtual://{simulated}'. " if simulated in CELLS else ""
    return f"{meant}{known}; `sagline rigs` lists what there is."


def find_again(address: str, serial_number: str | None) -> str:
    """Return where the board that was at `address` is now: ports change names when replugged.

    By its serial number where the system lists one; else the address it had.
    """
    if serial_number and "://" not in address:
        for port in list_serial_ports():
            if is_serial_number(serial_number, port):
                return port.port
    return address
