"""Parts: what sits where, and what an exchange changes."""

import json

import pytest
from tests.demo_files import JOB
from tests.ledger.floor import HEAD, OTHER, SHARED, Floor, new_tag

from spinproof.ledger.records import Records
from spinproof.ledger.shop_entries import Deed, Piece
from spinproof.ledger.states import PartState
from spinproof.model.errors import GateClosedError, RecordError, TagError
from spinproof.model.matter import MatterKind, Nonconformance
from spinproof.model.part import Provenance
from spinproof.model.retest import ChangeKind

VALVE = new_tag(HEAD, "VDI", 1)
NEW_VALVE = new_tag(HEAD, "VDI", 2)
MOTOR = new_tag(HEAD, "MOT", 2)
EXCHANGED = Deed("valve replaced, its seat was nicked")


def bring(floor: Floor, tag: str, code: str, origin: Provenance = Provenance.REPLACED_NEW) -> None:
    floor.do("AS-2", lambda r: r.add_part("QA-1041", code, Piece(tag, code), origin))


def exchange(floor: Floor, code: str, tag: str, deed: Deed = EXCHANGED) -> None:
    floor.do("AS-2", lambda r: r.replace_part(HEAD, code, tag, deed))


def configure(floor: Floor) -> None:
    names = {place.code: place.name for place in floor.file().positions}

    def set_up(records: Records) -> None:
        parts = records.parts_by_position(HEAD)
        document = {
            "configuration": {
                "head": HEAD,
                "revision": 1,
                "what": "as built",
                "firmware": "program 4.2",
                "parts": {names[code]: tag for code, tag in parts.items()},
                "settings": {"tach gap": "0.80 mm"},
            }
        }
        records.set_configuration(HEAD, document, "as built")

    floor.do("AS-2", set_up)


def test_a_part_that_came_with_the_head_is_recorded_once_where_it_sits(floor: Floor):
    with floor.ledger.reading() as records:
        part = records.part(VALVE)

    assert (part.now.state, part.now.unit, part.now.position) == (
        PartState.IN_POSITION,
        HEAD,
        "VDI",
    )
    assert part.now.provenance is Provenance.KEPT
    with pytest.raises(GateClosedError, match="recorded there already"):
        floor.do("TD-2", lambda r: r.record_as_found(HEAD, "VDI", Piece(NEW_VALVE, "valve")))


def test_a_mistyped_tag_is_refused_and_the_one_that_was_meant_is_named(floor: Floor):
    bring(floor, NEW_VALVE, "VDI")
    other_head = NEW_VALVE.replace("207L", "207U")
    with pytest.raises(TagError, match=f"Is it {NEW_VALVE}"):
        exchange(floor, "VDI", other_head)
    swapped = NEW_VALVE[:-3] + NEW_VALVE[-2] + NEW_VALVE[-3] + NEW_VALVE[-1]
    with pytest.raises(TagError, match="may be swapped"):
        floor.do(
            "RT-1", lambda r: r.add_part("QA-1041", "VDI", Piece(swapped, "v"), Provenance.KEPT)
        )

    assert floor.file().occupant("VDI").tag == VALVE


def test_an_exchange_is_one_change_of_the_head_and_of_its_configuration(floor: Floor):
    configure(floor)
    bring(floor, NEW_VALVE, "VDI")
    before = floor.file()
    lock = floor.lock()
    exchange(floor, "rinse valve", NEW_VALVE)
    floor.unlock(lock)

    after = floor.file()
    assert after.occupant("VDI").tag == NEW_VALVE
    assert [c.change.name for c in after.changes[len(before.changes) :]] == ["VDI"]
    assert len(after.configurations) == len(before.configurations) + 1
    assert after.configurations[-1].what == EXCHANGED.why
    document = after.configuration_documents[after.fingerprint]["configuration"]
    assert document["parts"]["rinse valve"] == NEW_VALVE
    with floor.ledger.reading() as records:
        assert records.part(VALVE).now.state is PartState.REMOVED
        assert records.verify_audit().broken is None


def test_hands_in_the_head_without_a_lockout_are_refused_and_nothing_is_stored(floor: Floor):
    bring(floor, NEW_VALVE, "VDI")
    with pytest.raises(GateClosedError, match="without an open lockout") as caught:
        exchange(floor, "VDI", NEW_VALVE)

    assert "R37" in caught.value.mend
    file = floor.file()
    assert file.occupant("VDI").tag == VALVE
    assert [c for c in file.changes if c.change.kind is ChangeKind.PART] == []


def test_a_part_is_in_one_position_and_made_for_it(floor: Floor):
    bring(floor, NEW_VALVE, "VDI")
    floor.lock()
    with pytest.raises(GateClosedError, match="sits there"):
        floor.do("AS-2", lambda r: r.install_part(HEAD, "VDI", NEW_VALVE, EXCHANGED))
    with pytest.raises(GateClosedError, match=f"{VALVE} sits in {HEAD}, VDI"):
        floor.do("AS-2", lambda r: r.install_part(HEAD, "VN2", VALVE, EXCHANGED))
    floor.do("AS-2", lambda r: r.remove_part(HEAD, "VN2", Deed("to be cleaned")))
    with pytest.raises(GateClosedError, match="made for position VDI"):
        floor.do("AS-2", lambda r: r.install_part(HEAD, "VN2", NEW_VALVE, EXCHANGED))
    with pytest.raises(RecordError, match="nothing is recorded to sit there"):
        floor.do("AS-2", lambda r: r.remove_part(HEAD, "VN2", Deed("again")))


def test_an_exchange_that_nobody_accepted_raises_a_nonconformance(floor: Floor):
    bring(floor, MOTOR, "MOT")
    floor.lock()
    exchange(floor, "MOT", MOTOR, Deed("it was on the bench"))

    asked = floor.file().of_kind(MatterKind.NONCONFORMANCE)
    assert len(asked) == 1
    assert isinstance(asked[0].content, Nonconformance)
    assert asked[0].content.position == "MOT"
    assert MOTOR in asked[0].content.text
    bring(floor, NEW_VALVE, "VDI")
    exchange(floor, "VDI", NEW_VALVE)
    assert len(floor.file().of_kind(MatterKind.NONCONFORMANCE)) == 1


def test_another_part_is_an_exchange_whatever_is_claimed_of_it(floor: Floor):
    cleaned = Provenance.CLEANED
    floor.do("AS-2", lambda r: r.add_part("QA-1041", "MOT", Piece(MOTOR, "motor"), cleaned))
    floor.lock()
    exchange(floor, "MOT", MOTOR, Deed("it was on the bench"))

    asked = floor.file().of_kind(MatterKind.NONCONFORMANCE)
    assert [matter.content.position for matter in asked] == ["MOT"]


def test_scrap_is_final_and_its_tag_is_never_used_again(floor: Floor):
    bring(floor, NEW_VALVE, "VDI")
    floor.lock()
    exchange(floor, "VDI", NEW_VALVE)
    floor.do("AS-2", lambda r: r.move_part(VALVE, PartState.SCRAPPED, Deed("seat nicked")))

    with pytest.raises(GateClosedError, match="final"):
        floor.do("AS-2", lambda r: r.move_part(VALVE, PartState.STOCK, Deed("after all")))
    with pytest.raises(GateClosedError, match="final"):
        exchange(floor, "VDI", VALVE)
    with pytest.raises(RecordError, match="given to another part"):
        bring(floor, VALVE, "VDI")


def test_what_becomes_of_a_part_outside_is_recorded_step_by_step(floor: Floor):
    floor.lock()
    floor.do("TD-2", lambda r: r.remove_part(HEAD, "BWL", Deed("to be polished")))
    for state in (PartState.INSPECTION, PartState.CLEANING, PartState.STOCK):
        floor.do("EP-1", lambda r, s=state: r.move_part(new_tag(HEAD, "BWL", 1), s, Deed("done")))
    with pytest.raises(GateClosedError, match="on a head"):
        floor.do(
            "EP-1",
            lambda r: r.move_part(new_tag(HEAD, "BWL", 1), PartState.IN_POSITION, Deed("in")),
        )
    cleaned = Provenance.CLEANED
    floor.do(
        "AS-2",
        lambda r: r.install_part(HEAD, "BWL", new_tag(HEAD, "BWL", 1), Deed("fitted"), cleaned),
    )

    part = floor.file().occupant("BWL")
    assert [step.state for step in part.steps] == [
        PartState.IN_POSITION,
        PartState.REMOVED,
        PartState.INSPECTION,
        PartState.CLEANING,
        PartState.STOCK,
        PartState.IN_POSITION,
    ]
    assert part.now.provenance is Provenance.CLEANED


def test_a_position_is_left_empty_for_a_reason(floor: Floor):
    floor.lock()
    with pytest.raises(GateClosedError, match="sits there"):
        floor.do("AS-2", lambda r: r.leave_empty(HEAD, "ION", Deed("none ordered")))
    floor.do("AS-2", lambda r: r.remove_part(HEAD, "ION", Deed("sent back")))
    floor.do("AS-2", lambda r: r.leave_empty(HEAD, "ION", Deed("the customer wants none")))

    file = floor.file()
    assert file.occupant("ION") is None
    assert file.vacancy("ION").reason == "the customer wants none"
    floor.do("AS-2", lambda r: r.install_part(HEAD, "ION", new_tag(HEAD, "ION", 1), Deed("back")))
    assert floor.file().vacancy("ION") is None


def test_dates_that_cannot_be_are_refused(floor: Floor):
    bring(floor, NEW_VALVE, "VDI")
    floor.lock()
    now = floor.clock.now
    with pytest.raises(RecordError, match="in the future"):
        exchange(floor, "VDI", NEW_VALVE, Deed("x", done_at=now.replace(year=2032)))
    with pytest.raises(RecordError, match="before the job was taken in"):
        exchange(floor, "VDI", NEW_VALVE, Deed("x", done_at=now.replace(year=2030)))
    with pytest.raises(RecordError, match="before the last step of the part"):
        exchange(floor, "VDI", NEW_VALVE, Deed("x", done_at=now.replace(minute=1, hour=7)))


def test_positions_and_parts_that_are_not_there_are_refused_in_words(floor: Floor):
    with pytest.raises(RecordError, match="no position"):
        floor.do("AS-2", lambda r: r.leave_empty(HEAD, "XYZ", Deed("?")))
    with pytest.raises(RecordError, match="no position of a head"):
        floor.do("AS-2", lambda r: r.leave_empty(HEAD, "SDR", Deed("?")))
    with pytest.raises(RecordError, match="no such part"):
        exchange(floor, "VDI", NEW_VALVE)
    assert floor.file().occupants[SHARED, "SDR"][0].tag == new_tag(SHARED, "SDR", 1)


def test_a_configuration_names_the_parts_that_are_on_record(floor: Floor):
    document = {
        "configuration": {
            "head": HEAD,
            "revision": 1,
            "what": "as built",
            "firmware": "4.2",
            "parts": {"rinse valve": NEW_VALVE},
            "settings": {},
        }
    }
    with pytest.raises(GateClosedError, match="not those on record"):
        floor.do("AS-2", lambda r: r.set_configuration(HEAD, document, "as built"))
    configure(floor)
    assert len(floor.file().configurations) == 1


def test_a_setting_and_a_limit_that_change_are_changes_of_the_head(floor: Floor):
    configure(floor)
    with floor.ledger.reading() as records:
        first = floor.file().fingerprint
        text = records.document(first)
    document = json.loads(text)
    document["configuration"]["settings"]["tach gap"] = "0.90 mm"
    document["limits"] = {"limits": [{"metric": "vibration", "upper": 4.5}]}
    floor.do("AS-2", lambda r: r.set_configuration(HEAD, document, "gap set, limit agreed"))

    assert {(c.change.kind, c.change.name) for c in floor.file().changes} >= {
        (ChangeKind.SETTING, "tach gap"),
        (ChangeKind.LIMIT, "vibration"),
    }


def test_a_job_of_burn_in_only_keeps_no_parts(floor: Floor):
    other = JOB.to_document() | {
        "job": "QA-2000",
        "machine": "QM-300",
        "shared_module": None,
        "heads": [{**JOB.heads[1].model_dump(), "designation": "QM-300-L"}],
        "scope": [{"item": "SC-01", "unit": "QM-300-L", "text": "burn-in", "state": "accepted"}],
    }
    floor.do("RT-1", lambda r: r.add_job(type(JOB).from_document(other)))
    with pytest.raises(GateClosedError, match="burn-in only"):
        floor.do(
            "RT-1", lambda r: r.add_part("QA-2000", "VDI", Piece(NEW_VALVE, "v"), Provenance.KEPT)
        )
    with pytest.raises(GateClosedError, match="burn-in only"):
        floor.do("RT-1", lambda r: r.record_as_found("QM-300-L", "VDI", Piece(NEW_VALVE, "v")))
    assert OTHER not in {unit for unit, _ in floor.file().occupants}
