"""What becomes of journals after a crash."""

import pytest
from tests.record.raw_run import make_block, write_journal

from spinproof.files.lock import hold
from spinproof.model.errors import JournalError
from spinproof.model.run import Ending
from spinproof.record.recovery import recover_journals

BLOCKS = [make_block(n) for n in range(20)]


@pytest.fixture
def journals(tmp_path):
    folder = tmp_path / "journals"
    folder.mkdir()
    return folder


def test_every_unfinished_journal_is_sealed_as_interrupted(journals, traces, header):
    for name in ("b", "a"):
        write_journal(journals / f"{name}.journal", header, BLOCKS, ending=None)

    recovered = recover_journals(journals, traces)

    assert [r.journal.name for r in recovered] == ["a.journal", "b.journal"]
    assert all(r.trace.ending is Ending.INTERRUPTED for r in recovered)
    assert all(r.trace.signals["tach"].counts.size == 100 for r in recovered)
    assert not list(journals.iterdir())


def test_a_finished_journal_that_was_not_sealed_keeps_its_ending(journals, traces, header):
    write_journal(journals / "a.journal", header, BLOCKS, ending=Ending.COMPLETE)

    (recovered,) = recover_journals(journals, traces)

    assert recovered.trace.ending is Ending.COMPLETE


def test_a_run_that_somebody_records_is_left_alone(journals, traces, header):
    path = write_journal(journals / "a.journal", header, BLOCKS, ending=None)
    with hold(path, "run a"):
        assert recover_journals(journals, traces) == ()

    assert path.exists()
    assert not list(traces.iterdir())


def test_a_damaged_journal_stays_and_is_reported_and_hinders_no_other(journals, traces, header):
    damaged = write_journal(journals / "a.journal", header, BLOCKS, ending=None)
    data = bytearray(damaged.read_bytes())
    data[7500] ^= 1
    damaged.write_bytes(data)
    write_journal(journals / "b.journal", header, BLOCKS, ending=None)

    first, second = recover_journals(journals, traces)

    assert isinstance(first.problem, JournalError)
    assert first.trace is None
    assert damaged.read_bytes() == data
    assert second.trace is not None


@pytest.mark.parametrize("content", [b"", b"SPJ1\1\0\0"])
def test_a_journal_without_a_whole_frame_is_removed(journals, traces, content):
    (journals / "a.journal").write_bytes(content)

    (recovered,) = recover_journals(journals, traces)

    assert (recovered.trace, recovered.problem) == (None, None)
    assert not list(journals.iterdir())


def test_a_journal_whose_opening_is_lost_but_not_its_blocks_stays(journals, traces, header):
    path = write_journal(journals / "a.journal", header, BLOCKS, ending=None)
    data = bytearray(path.read_bytes())
    data[100] ^= 1
    path.write_bytes(data)

    (recovered,) = recover_journals(journals, traces)

    assert isinstance(recovered.problem, JournalError)
    assert path.exists()


def test_other_files_are_left_alone(journals, traces):
    (journals / "notes.txt").write_text("mine")

    assert recover_journals(journals, traces) == ()
    assert (journals / "notes.txt").read_text() == "mine"
