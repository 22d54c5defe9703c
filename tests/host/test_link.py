# SPDX-License-Identifier: MIT
"""The link against the real firmware, with bytes lost and changed on the way."""

import random

import pytest

from sagline.device.link import TRIES, Link
from sagline.errors import BoardRefused, LinkLost, UsageError, WrongDevice
from sagline.virtual.port import VirtualPort
from sagline_board import commands

ADDRESS = "virtual://lr6?seed=1"


@pytest.fixture
def link():
    opened = Link.open(ADDRESS)
    yield opened
    opened.close()


def test_request_gives_the_reply(link):
    assert link.request("identity").startswith("Sagline,virtual-rp2350,lr6-1,")
    assert link.integers("load_count") == [4]
    assert link.fields("load_values", 0)["load_milliohm"] == 3300
    assert link.request("clear_segments") == "OK"


def test_an_error_reply_is_raised_with_its_number_and_a_remedy(link):
    with pytest.raises(BoardRefused) as caught:
        link.request("start")
    assert caught.value.number == 112
    assert "STEP:SEGMent" in caught.value.message
    assert caught.value.remedy


@pytest.mark.parametrize("direction", ["to board", "from board"])
def test_a_lost_line_is_asked_for_again_and_done_once(link, direction, monkeypatch):
    port = link._port
    dropped = []
    if direction == "to board":
        plain_write = port.write

        def write(data):
            if not dropped:
                dropped.append(data)
                return len(data)
            return plain_write(data)

        monkeypatch.setattr(port, "write", write)
    else:
        plain_read = port.read

        def read(size):
            data = plain_read(size)
            if data and not dropped:
                dropped.append(data)
                return b""
            return data

        monkeypatch.setattr(port, "read", read)
    assert link.request("add_segment", 8, 300) == "OK"
    assert dropped
    assert port.board.engine.segments == [(8, 300)]


def test_random_damage_never_gives_a_wrong_answer(link, monkeypatch):
    """Four bytes in a hundred changed, each way: the right reply or LinkLost, nothing else."""
    chance = random.Random(5)
    port = link._port
    plain_write, plain_read = port.write, port.read

    def damaged(data):
        return bytes(
            byte ^ (1 << chance.randrange(8)) if chance.random() < 0.04 else byte for byte in data
        )

    monkeypatch.setattr(port, "write", lambda data: plain_write(damaged(data)))
    monkeypatch.setattr(port, "read", lambda size: damaged(plain_read(size)))
    answers = {"load_count": set(), "range_values": set()}
    lost = 0
    for _ in range(300):
        for name, seen in answers.items():
            try:
                seen.add(link.request(name))
            except LinkLost:
                lost += 1
    assert answers == {"load_count": {"4"}, "range_values": {"4500,16500"}}
    # Eight tries of some 70 bytes both ways: most get through, some do not.
    assert 0 < lost < 400


def test_silence_ends_in_link_lost_after_the_deadline(link, monkeypatch):
    monkeypatch.setattr(link._port, "write", lambda data: len(data))
    before_s = link.clock.now_s()
    with pytest.raises(LinkLost, match="does not answer"):
        link.request("identity")
    deadline_s = commands.by_name("identity").deadline_ms * 1e-3
    assert link.clock.now_s() - before_s == pytest.approx(TRIES * deadline_s, abs=0.4)
    monkeypatch.undo()


def test_another_protocol_version_is_refused(monkeypatch):
    monkeypatch.setattr(commands, "PROTOCOL_MAJOR", 2)

    def old_board(port):
        VirtualPort_open(port)
        port.board._open = lambda session, text: "1,0"

    VirtualPort_open = VirtualPort.open
    monkeypatch.setattr(VirtualPort, "open", old_board)
    with pytest.raises(WrongDevice, match=r"1\.0.* 2\.0"):
        Link.open(ADDRESS)


@pytest.mark.parametrize(
    ("address", "error"),
    [
        ("/dev/no-such-port", LinkLost),
        ("nonsense://x", UsageError),
        ("virtual://no-such-cell", UsageError),
        ("virtual://lr6?seed=x", UsageError),
        ("virtual://lr6?adc=none", UsageError),
        ("virtual://lr6?colour=red", UsageError),
        ("virtual://lr6?null=on", UsageError),
    ],
)
def test_bad_addresses_say_what_to_do(address, error):
    with pytest.raises(error) as caught:
        Link.open(address)
    assert caught.value.message
    assert caught.value.remedy
