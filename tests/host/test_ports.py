# SPDX-License-Identifier: MIT
"""Every way in which a port does not open or goes away, provoked on real pseudo terminals."""

import json
import multiprocessing
import os
import re
import subprocess
import sys
import threading
import time
from multiprocessing.connection import Connection

import pytest
import serial

pytest.importorskip("tty", reason="pseudo terminals are a thing of Unix")

from pty_device import PtyDevice, board_on_a_pty

import sagline
from sagline import cli, rigs
from sagline.device import ports as ports_module
from sagline.device.link import Link
from sagline.device.opening import UDEV_RULE, explain
from sagline.device.ports import RP2_USB_ID, PortInfo, is_same_port, serial_number_of
from sagline.device.serialport import SafePort, open_port
from sagline.errors import LinkLost, SaglineError, WrongDevice

SERIAL = "E6614103E7452B2F"


# -- going away ---------------------------------------------------------------

CALLS = {
    "read": lambda port: port.read(1),
    "write": lambda port: port.write(b"x"),
    "in_waiting": lambda port: port.in_waiting,
    "flush": lambda port: port.flush(),
    "reset_input_buffer": lambda port: port.reset_input_buffer(),
}


@pytest.mark.parametrize("call", CALLS)
def test_the_plug_is_pulled_before_a_call(call):
    device = PtyDevice(lambda _: b"")
    port = open_port(device.port)
    calls = SafePort(port, device.port)
    device.pull_out()
    with pytest.raises(LinkLost, match="went away") as caught:
        CALLS[call](calls)
    assert caught.value.code == "link_lost"
    assert device.port in caught.value.message
    with pytest.raises(LinkLost) as again:
        calls.write(b"x")
    assert again.value is caught.value, "the first reason is the one to know"
    calls.close()
    assert not port.is_open


def test_the_system_really_raises_more_than_one_kind():
    """What the wrapper is for: were it one kind, an `except OSError` would do."""
    kinds = set()
    for call in CALLS.values():
        device = PtyDevice(lambda _: b"")
        port = open_port(device.port)
        device.pull_out()
        try:
            call(port)
        except Exception as error:
            kinds.add(type(error).__module__ + "." + type(error).__name__)
        port.close()
    assert {"serial.serialutil.SerialException", "termios.error"} <= kinds


def test_a_port_closed_under_a_waiting_read_is_a_lost_link():
    with PtyDevice(lambda _: b"") as device:
        port = open_port(device.port)
        port.timeout = None
        calls = SafePort(port, device.port)
        caught: list[Exception] = []

        def wait_for_bytes() -> None:
            try:
                # The read that waits may end without a word; the next one cannot.
                while True:
                    calls.read(1)
            except Exception as error:
                caught.append(error)

        thread = threading.Thread(target=wait_for_bytes, daemon=True)
        thread.start()
        time.sleep(0.1)
        port.close()
        os.write(device._ours, b"x")
        thread.join(5.0)
    assert [type(error) for error in caught] == [LinkLost]


def test_a_descriptor_lost_inside_pyserial_is_a_lost_link():
    """As a close in another thread leaves it: pyserial's own code then raises TypeError."""
    with PtyDevice(lambda _: b"") as device:
        port = open_port(device.port)
        descriptor, port.fd = port.fd, None
        for call in ("write", "in_waiting", "read"):
            with pytest.raises(LinkLost, match="went away") as caught:
                CALLS[call](SafePort(port, device.port))
            assert isinstance(caught.value.__cause__, TypeError), call
        port.fd = descriptor
        port.close()


@pytest.mark.parametrize("mistake", [TypeError, AttributeError])
def test_a_mistake_of_ours_below_the_wrapper_stays_what_it_is(mistake):
    class Wrong:
        def write(self, data):
            raise mistake(data)

    with pytest.raises(mistake):
        SafePort(Wrong(), "virtual://x").write(b"x")


def test_a_device_that_takes_no_bytes_is_said_and_holds_nobody_up():
    ours, theirs = os.openpty()
    calls = SafePort(open_port(os.ttyname(theirs)), os.ttyname(theirs))
    began_s = time.monotonic()
    with pytest.raises(LinkLost, match="takes no more bytes") as caught:
        for _ in range(100):
            calls.write(b"x" * 4096)
    assert caught.value.code == "port_blocked"
    assert time.monotonic() - began_s < 5.0
    os.close(ours)
    calls.close()
    os.close(theirs)


@pytest.mark.parametrize("call", ["request", "close"])
def test_the_plug_is_pulled_in_a_session(call):
    device = board_on_a_pty()
    link = Link.open(device.port)
    device.pull_out()
    if call == "request":
        with pytest.raises(LinkLost) as caught:
            link.request("identity")
        assert caught.value.code == "link_lost"
    link.close()


def test_the_error_names_the_board_that_went_and_how_it_is_found_again(monkeypatch):
    device = board_on_a_pty()
    listed = [PortInfo(device.port, "Board in FS mode", SERIAL, True)]
    monkeypatch.setattr(ports_module, "list_serial_ports", lambda: listed)
    monkeypatch.setattr(rigs, "list_serial_ports", lambda: listed)
    rig = sagline.open_rig(device.port)
    del listed[:]
    device.pull_out()
    with pytest.raises(LinkLost) as caught, rig:
        rig.live()
    assert SERIAL in caught.value.message and device.port in caught.value.message
    named = re.search(r"--rig (\w+)", caught.value.remedy)
    assert named is not None
    with board_on_a_pty() as replugged:
        listed.append(PortInfo(replugged.port, "Board in FS mode", SERIAL, True))
        with sagline.open_rig(rigs.resolve(named.group(1))) as again:
            assert again.address == replugged.port
            assert again.live().sense_v > 1.0


# -- not opening --------------------------------------------------------------

HOLD = """
import fcntl, sys
port = open(sys.argv[1], "rb", buffering=0)
fcntl.flock(port, fcntl.LOCK_EX)
print("held", flush=True)
sys.stdin.read()
"""


def test_another_program_has_the_port():
    with (
        board_on_a_pty() as device,
        subprocess.Popen(
            [sys.executable, "-c", HOLD, device.port],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        ) as holder,
    ):
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(LinkLost) as caught:
            Link.open(device.port)
        assert caught.value.code == "port_in_use"
        assert device.port in caught.value.message
        holder.communicate()
        Link.open(device.port).close()


def test_an_open_link_keeps_others_out_and_a_closed_one_does_not():
    with board_on_a_pty() as device:
        link = Link.open(device.port)
        with pytest.raises(serial.SerialException):
            serial.Serial(device.port, exclusive=True)
        with pytest.raises(LinkLost, match="Another program has"):
            Link.open(device.port)
        link.close()
        Link.open(device.port).close()


def _open_as_nobody(port: str, said: Connection) -> None:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
    try:
        Link.open(port)
    except SaglineError as error:
        said.send((error.code, error.message, error.remedy))


@pytest.mark.skipif(not hasattr(os, "setuid"), reason="users are a thing of Unix")
def test_a_port_that_one_may_not_open():
    import grp  # noqa: F401 - a nobody may not be able to read the library

    with board_on_a_pty() as device:
        os.chmod(device.port, 0)
        if os.geteuid() == 0:
            context = multiprocessing.get_context("fork")
            ours, theirs = context.Pipe()
            child = context.Process(target=_open_as_nobody, args=(device.port, theirs))
            child.start()
            assert ours.poll(10.0)
            code, message, remedy = ours.recv()
            child.join()
        else:
            with pytest.raises(LinkLost) as caught:
                Link.open(device.port)
            code, message, remedy = caught.value.code, caught.value.message, caught.value.remedy
    assert code == "port_not_allowed"
    assert device.port in message
    assert "usermod" in remedy or "ls -l" in remedy


def test_the_remedy_names_the_group_and_the_rule_that_are_there():
    import grp

    with board_on_a_pty() as device:
        group = grp.getgrgid(os.stat(device.port).st_gid).gr_name
        remedy = explain(device.port, OSError(13, "Permission denied"), "linux").remedy
    wanted = "dialout" if group == "root" else group
    assert f"sudo usermod -aG {wanted} $USER" in remedy
    named = re.search(r"sudo cp (\S+) /etc/udev/rules.d/", remedy)
    assert named is not None
    assert os.path.exists(named.group(1))


def test_no_such_port_and_what_is_no_port(tmp_path):
    with pytest.raises(LinkLost, match="There is no port") as missing:
        Link.open(str(tmp_path / "ttyACM0"))
    assert missing.value.code == "no_such_port"
    file = tmp_path / "notes.txt"
    file.write_text("x")
    for path in (file, tmp_path):
        with pytest.raises(WrongDevice, match="no serial port") as wrong:
            Link.open(str(path))
        assert wrong.value.code == "not_a_port"
        assert "sagline rigs" in wrong.value.remedy
    assert file.read_text() == "x"


def test_nobody_serves_at_the_address():
    with pytest.raises(LinkLost) as caught:
        Link.open("socket://127.0.0.1:1")
    assert caught.value.code == "port_not_opened"
    assert "virtual serve" in caught.value.remedy


@pytest.mark.parametrize(
    ("platform", "said", "code", "remedy"),
    [
        # As pyserial words what Windows says: its SerialException has no number there.
        ("win32", "could not open port 'COM3': PermissionError(13, 'Access is denied.', None, 5)",
         "port_in_use", "Close it"),
        ("win32", "could not open port 'COM9': FileNotFoundError(2, 'not found', None, 2)",
         "no_such_port", "sagline rigs"),
        ("win32", "could not open port 'COM3': OSError(22, 'semaphore timeout', None, 121)",
         "port_not_opened", "cable"),
    ],
)  # fmt: skip
def test_windows_words(platform, said, code, remedy):
    found = explain("COM3", serial.SerialException(said), platform)
    assert found.code == code
    assert remedy in found.remedy


def test_a_mac_has_no_group_to_join():
    found = explain("/dev/tty.usbmodem1", PermissionError(13, "Permission denied"), "darwin")
    assert found.code == "port_not_allowed"
    assert "usermod" not in found.remedy and "/dev/cu." in found.remedy


def test_the_rule_that_is_shipped_lets_users_in_and_keeps_modem_software_out():
    text = UDEV_RULE.read_text(encoding="ascii")
    rules = [line for line in text.splitlines() if line and not line.startswith("#")]
    vendor, product = RP2_USB_ID
    for rule in rules:
        assert f'ATTRS{{idVendor}}=="{vendor:04x}"' in rule
        assert f'ATTRS{{idProduct}}=="{product:04x}"' in rule
    assert any('SUBSYSTEM=="tty"' in rule and 'TAG+="uaccess"' in rule for rule in rules)
    # On the USB device as well as on its port, so without a subsystem.
    assert any('ENV{ID_MM_DEVICE_IGNORE}="1"' in r and "SUBSYSTEM" not in r for r in rules)
    # systemd acts on uaccess in its rule 73: a later one would come too late.
    assert int(UDEV_RULE.name[:2]) < 73


# -- by serial number ---------------------------------------------------------


def test_a_link_to_a_port_is_that_port(tmp_path, monkeypatch):
    device = tmp_path / "ttyACM7"
    device.touch()
    by_id = tmp_path / "usb-MicroPython_Board_in_FS_mode-if00"
    by_id.symlink_to(device)
    port = PortInfo(str(device), "Board in FS mode", SERIAL, True)
    monkeypatch.setattr(ports_module, "list_serial_ports", lambda: [port])
    assert is_same_port(str(by_id), port)
    assert serial_number_of(str(by_id)) == SERIAL
    assert serial_number_of(str(tmp_path / "other")) is None
    assert serial_number_of("socket://127.0.0.1:5000") is None


def test_serial_numbers_are_the_same_in_either_case(monkeypatch):
    port = PortInfo("COM4", "USB Serial Device (COM4)", SERIAL, True)
    nameless = PortInfo("COM1", "Communications Port (COM1)", None, False)
    monkeypatch.setattr(rigs, "list_serial_ports", lambda: [nameless, port])
    assert rigs.resolve(SERIAL.lower()) == "COM4"
    assert rigs.find_again("COM3", SERIAL.lower()) == "COM4"


def test_the_list_shows_serial_numbers_and_probing_asks_by_them(monkeypatch, capsys):
    with board_on_a_pty() as device, PtyDevice(lambda _: b"") as stranger:
        listed = [
            PortInfo(device.port, "Board in FS mode", SERIAL, True),
            PortInfo(stranger.port, "USB serial", None, False),
        ]
        monkeypatch.setattr(ports_module, "list_serial_ports", lambda: listed)
        monkeypatch.setattr(rigs, "list_serial_ports", lambda: listed)
        assert cli.main(["rigs"]) == 0
        assert f"Board in FS mode, serial number {SERIAL}\n" in capsys.readouterr().out
        assert device.got == b"", "listing opens no port"
        for arguments in ([], ["--rig", SERIAL]):
            assert cli.main(["rigs", "--probe", "--json", *arguments]) == 0
            rows = {r["address"]: r for r in json.loads(capsys.readouterr().out)["rigs"]}
            assert rows[device.port]["identity"]["model"] == "still"
            assert rows[device.port]["error"] is None
            assert "identity" not in rows[stranger.port]
        assert stranger.got == b"", "a port that is not known is not asked"
        assert cli.main(["rigs", "--probe", "--rig", stranger.port]) == 0
        assert f"Nothing answers on {stranger.port}." in capsys.readouterr().out
