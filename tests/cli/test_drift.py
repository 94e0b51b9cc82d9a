"""``spinproof drift``."""

from pathlib import Path

from tests.cli.command import Commands
from tests.drifting_shop import drifting_shop
from tests.shop import HEAD


def test_the_command_says_what_drifts_and_all_that_was_looked_at(
    spinproof: Commands, tmp_path: Path
):
    drifting_shop(tmp_path, 0.03).ledger.close()
    said = spinproof("drift", HEAD, "--home", tmp_path)
    assert said.status == 0
    assert "SIMULATED  1 series drifts: campaign 1, 28 runs" in said.out
    assert "Pressure loss of the seal rises by" in said.out
    assert "Venting of the seal" not in said.out
    every = spinproof("drift", HEAD, "--home", tmp_path, "--every")
    assert "Venting of the seal: no drift shows" in every.out
    assert (
        "no campaign 9"
        in spinproof.refused("drift", HEAD, "--home", tmp_path, "--campaign", "9").error
    )
