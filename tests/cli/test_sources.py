"""``spinproof sources`` and ``spinproof bind``, typed as their user types them."""

import struct

import pytest
from tests.cli.command import Commands
from tests.demo_files import DEMO_DATA
from tests.record.sources.peers import Registers, modbus_server

GOOD = struct.unpack(">2H", struct.pack(">f", 1234.5))


@pytest.fixture
def device():
    registers = Registers()
    registers.put(0, *GOOD)
    with modbus_server(registers):
        yield f"127.0.0.1:{registers.port}"


def test_a_look_drafts_a_map_that_is_refused_until_it_is_completed(
    spinproof: Commands, device, tmp_path
):
    draft = tmp_path / "draft.toml"
    asked = ("modbus-tcp", device, "--unit", 7, "--count", 2, "--head", "QM-207-L", "--take", "f32")
    said = spinproof("sources", "look", *asked, "--out", draft)

    assert said.status == 0
    assert "1234.5" in said.out
    assert spinproof("sources", "look", *asked, "--out", draft).status == 2  # never overwritten
    refused = spinproof("sources", "check", draft, "--seconds", "0")
    assert refused.status == 1
    assert "nobody has said yet which instrument" in refused.out

    completed = draft.read_text().replace("not named yet", "OT-4").replace("= 10.0", "= 5.0")
    draft.write_text(completed)
    checked = spinproof("sources", "check", draft, "--seconds", "3")
    assert checked.status == 0, checked.out
    assert "the map fits its sources" in checked.out


def test_a_kind_that_does_not_exist_is_told_with_those_that_do(spinproof: Commands):
    said = spinproof("sources", "look", "telex", "somewhere:1")

    assert said.status == 2
    assert "stand, modbus-tcp, modbus-rtu-over-tcp, opc-ua, mqtt" in said.error


def test_a_head_is_bound_by_a_brief_run_on_the_stand(spinproof: Commands, stand, tmp_path):
    home = tmp_path / "home"
    spinproof("take-in", DEMO_DATA / "qa-1041.job.toml", "--home", home, "--by", "RT-1")
    files = ("--head", DEMO_DATA / "lower.head.toml")
    files += ("--channels", DEMO_DATA / "lower.channels.toml")
    files += ("--limits", DEMO_DATA / "run.limits.toml")
    what = DEMO_DATA / "as-built.configuration.toml"
    spinproof("configure", what, *files, "--home", home, "--by", "AS-2")
    place = ("--stand", stand, "--start")
    looked = spinproof("sources", "look", "stand", stand, "--unit", 2)
    said = spinproof("bind", "QM-207-L", "--home", home, "--by", "TT-1", *place)

    assert "VIRTUAL STAND QM-207-L, 20 samples a second" in looked.out
    assert said.status == 0, said.out
    assert "✓ proven: QM-207-L moved" in said.out
    assert "locked out by your own procedure" in said.out
