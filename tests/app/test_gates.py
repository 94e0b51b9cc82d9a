"""What may come next for a head, in sentences."""

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from tests.ledger.floor import HEAD, OTHER, START, Floor, Stages
from tests.shop import Shop

from spinproof.app.gates import next_steps, step_named, why
from spinproof.app.handing_over import issue_dossier
from spinproof.ledger.ledger import open_ledger
from spinproof.ledger.shop_entries import Action, Meaning
from spinproof.model.check import Checkpoint
from spinproof.model.errors import GateClosedError, RecordError

DAY = date(2031, 5, 6)


@pytest.fixture(scope="module")
def stages(tmp_path_factory: pytest.TempPathFactory) -> Stages:
    folder = tmp_path_factory.mktemp("stages")
    open_ledger(f"sqlite:///{folder / 'empty.db'}", at=START).close()
    return Stages(folder, folder / "empty.db")


@pytest.fixture
def floor(stages: Stages, tmp_path: Path) -> Iterator[Floor]:
    """Give a head whose dry test is made, and not signed."""
    path = tmp_path / "ledger.db"
    path.write_bytes(stages.file("dry made").read_bytes())
    ledger = open_ledger(f"sqlite:///{path}", at=START)
    yield Floor(ledger)
    ledger.close()


@pytest.mark.parametrize(
    ("name", "step"),
    [
        ("wet test", Checkpoint.WET_TEST),
        ("Wet-Test", Checkpoint.WET_TEST),
        ("burn-in", Checkpoint.FINAL_TEST),
        ("energising", Action.ENERGISE),
        ("source  inspection", Checkpoint.SOURCE_INSPECTION),
    ],
)
def test_a_step_is_known_by_its_name(name: str, step: Checkpoint | Action):
    assert step_named(name) is step


def test_a_step_that_does_not_exist_is_refused_with_those_that_do():
    with pytest.raises(RecordError, match="incoming inspection, teardown"):
        step_named("warm test")


def test_the_wet_test_stays_closed_until_the_dry_test_is_signed_by_two(floor: Floor):
    with floor.ledger.reading() as reading:
        assert why(reading, HEAD, Checkpoint.WET_TEST, DAY)[0] == (
            "Not passed yet: dry test. (R18)"
        )
        assert why(reading, HEAD, Checkpoint.DRY_TEST, DAY) == (
            "The dry test can be passed now, and is not signed yet.",
        )
        assert next_steps(reading, HEAD, DAY).may == ('The dry test may be signed as "performed".',)
    floor.do("AS-2", lambda r: r.sign_gate(HEAD, Checkpoint.DRY_TEST, Meaning.PERFORMED))
    with floor.ledger.reading() as reading:
        steps = next_steps(reading, HEAD, DAY)
    assert steps.may == ("The dry test may be verified by somebody else than AS-2.",)
    assert (steps.state, steps.checkpoint) == ("rebuilt", Checkpoint.DRY_TEST)
    floor.do("QI-2", lambda r: r.sign_gate(HEAD, Checkpoint.DRY_TEST, Meaning.VERIFIED))
    with floor.ledger.reading() as reading:
        steps = next_steps(reading, HEAD, DAY)
        assert why(reading, HEAD, Checkpoint.DRY_TEST, DAY) == ()
        assert why(reading, HEAD, Action.ENERGISE, DAY) == ()
    assert steps.state == "dry test passed"
    assert steps.may == ("W-01: Binding proof: every channel on its head.",)
    assert steps.may_not[0].startswith("25 checks have not been made")
    assert "nitrogen displaces air" in steps.beside[0]


def test_a_declined_head_has_no_next_step(floor: Floor):
    with floor.ledger.reading() as reading:
        assert "nothing is claimed of it" in why(reading, OTHER, Checkpoint.RELEASE, DAY)[0]
        assert next_steps(reading, OTHER, DAY).checkpoint is None


def test_a_dossier_of_the_full_process_waits_for_the_release(floor: Floor, shop: Shop):
    with pytest.raises(GateClosedError, match="dossier of QM-207-L"):
        issue_dossier(shop.home, floor.ledger, HEAD)


def test_a_job_of_burn_in_only_says_what_is_not_part_of_its_record(shop: Shop):
    with shop.ledger.reading() as reading:
        assert why(reading, HEAD, Checkpoint.WET_TEST) == (
            "The job was taken in for burn-in only, and has no gate for this. Dry and wet test are "
            "not part of this record.",
        )
        assert why(reading, HEAD, Checkpoint.FINAL_TEST) == (
            "No campaign of the burn-in was opened.",
        )
        steps = next_steps(reading, HEAD)
    assert steps.state == "burn-in only"
    assert steps.may_not == ("Dry and wet test are not part of this record.",)
