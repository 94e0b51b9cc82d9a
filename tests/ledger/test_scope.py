"""The scope of the full process, change orders, and facts that are stated."""

from datetime import timedelta

import pytest
from tests.ledger.floor import HEAD, OTHER, RULES, SHARED, Floor, full_job, new_tag

from spinproof.files.digest import sha256_of_bytes
from spinproof.ledger.entries import UnitKind
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.rulebook.identity import exclusions, without_warranty
from spinproof.ledger.shop_entries import Deed, entered_later
from spinproof.ledger.states import BypassState, ChangeOrderState, FindingState, LockoutState
from spinproof.model.attestation import Acknowledgement, Balance, ClockCheck, Film, Plane, RoomAir
from spinproof.model.check import Energy
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.handover import ScopeState
from spinproof.model.job import JobFile, Process
from spinproof.model.matter import (
    Bypass,
    ChangeOrder,
    Finding,
    Lockout,
    MatterKind,
    StepDetail,
)
from spinproof.model.part import Severity

JOB = "QA-1041"
LETTER = StepDetail(token=f"letter {4}")


@pytest.fixture
def taken(ledger: Ledger) -> Floor:
    floor = Floor(ledger)
    floor.do("RT-1", lambda r: r.add_job(full_job(), RULES))
    return floor


def order(floor: Floor, *, accepted: bool = True) -> str:
    """Open a change order, and have it accepted."""
    name = floor.do("SE-1", lambda r: r.open_matter(JOB, ChangeOrder(text="as agreed")).name)
    if accepted:
        state = ChangeOrderState.ACCEPTED
        floor.do("SE-1", lambda r: r.step_matter(name, state, Deed("accepted"), LETTER))
    return name


def change(floor: Floor, item: str, state: ScopeState, **more: object) -> None:
    floor.do("SE-1", lambda r: r.change_scope(JOB, item, state, "as agreed", **more))


def states_of(floor: Floor, item: str) -> list[ScopeState]:
    with floor.ledger.reading() as records:
        line = next(entry for entry in records.scope_items(JOB) if entry.item == item)
    assert line.state is line.steps[-1].state
    return [step.state for step in line.steps]


def test_the_demo_job_has_six_exclusions_and_two_lines_without_warranty(taken: Floor):
    with taken.ledger.reading() as records:
        scope, printed = records.scope_items(JOB), records.scope(JOB)
        terms = records.terms(JOB)

    assert [line.item for line in exclusions(scope)] == [
        "SC-20",
        "SC-21",
        "SC-22",
        "SC-27",
        "SC-28",
        "SC-29",
    ]
    assert [line.item for line in without_warranty(scope)] == ["SC-23", "SC-24"]
    assert [line.state for line in printed].count(ScopeState.DECLINED) == 6
    assert {line.unit for line in exclusions(scope)} == {HEAD, OTHER, SHARED}
    assert terms.process is Process.FULL
    assert next(line for line in scope if line.item == "SC-13").position == "VDI"


def test_a_line_goes_from_proposal_to_done_step_by_step(taken: Floor):
    line = taken.do(
        "IN-3", lambda r: r.add_scope_item(JOB, HEAD, "replace motor brushes", position="MOT")
    )
    assert (line.item, line.state, line.position) == ("SC-30", ScopeState.PROPOSED, "MOT")
    with pytest.raises(GateClosedError, match="cannot become"):
        change(taken, "SC-30", ScopeState.ACCEPTED)
    change(taken, "SC-30", ScopeState.RECOMMENDED)
    change(taken, "SC-30", ScopeState.ACCEPTED)
    with pytest.raises(GateClosedError, match="evidence, and none is named"):
        change(taken, "SC-30", ScopeState.DONE)
    sha256 = sha256_of_bytes(b"photo of the brushes")
    taken.do("AS-2", lambda r: r.add_evidence(JOB, sha256, "brushes.jpg", "new brushes"))
    change(taken, "SC-30", ScopeState.DONE, evidence=(sha256,))

    assert states_of(taken, "SC-30") == [
        ScopeState.PROPOSED,
        ScopeState.RECOMMENDED,
        ScopeState.ACCEPTED,
        ScopeState.DONE,
    ]
    with taken.ledger.reading() as records:
        assert records.verify_audit().broken is None


@pytest.mark.parametrize(
    ("item", "state"), [("SC-20", ScopeState.ACCEPTED), ("SC-13", ScopeState.WITHDRAWN)]
)
def test_what_was_agreed_changes_by_an_accepted_change_order_alone(
    taken: Floor, item: str, state: ScopeState
):
    with pytest.raises(GateClosedError, match="change order alone"):
        change(taken, item, state)
    with pytest.raises(GateClosedError, match="is proposed"):
        change(taken, item, state, change_order=order(taken, accepted=False))
    change(taken, item, state, change_order=order(taken))

    assert states_of(taken, item)[-1] is state
    excluded = [line.item for line in exclusions(taken.file().scope)]
    assert (item in excluded) is (state is ScopeState.WITHDRAWN)


def test_a_change_order_is_accepted_by_the_customers_word(taken: Floor):
    name = order(taken, accepted=False)
    accepted = ChangeOrderState.ACCEPTED
    with pytest.raises(GateClosedError, match="cannot accept for the customer"):
        taken.do("SE-1", lambda r: r.step_matter(name, accepted, Deed("by phone")))
    finding = taken.do(
        "IN-3",
        lambda r: r.open_matter(JOB, Finding(text="scratch", severity=Severity.COSMETIC)).name,
    )
    with pytest.raises(RecordError, match="no change order"):
        change(taken, "SC-20", ScopeState.ACCEPTED, change_order=finding)


def test_a_text_that_promises_is_refused_before_it_is_stored(taken: Floor):
    with pytest.raises(GateClosedError, match='"fully" promise more') as caught:
        taken.do("IN-3", lambda r: r.add_scope_item(JOB, HEAD, "machine fully refurbished"))
    assert "R44" in caught.value.mend
    sha256 = sha256_of_bytes(b"photo")
    with pytest.raises(GateClosedError, match='"as new" promise more'):
        taken.do("IN-3", lambda r: r.add_evidence(JOB, sha256, "a.jpg", "bearing as new"))
    with taken.ledger.reading() as records:
        assert len(records.scope_items(JOB)) == 29
        assert records.evidence(JOB) == ()


def test_a_job_that_promises_is_not_taken_in(ledger: Ledger):
    document = full_job().to_document()
    document["scope"][0]["text"] = "head fully restored"
    floor = Floor(ledger)
    with pytest.raises(GateClosedError, match="fully"):
        floor.do("RT-1", lambda r: r.add_job(JobFile.from_document(document), RULES))
    with ledger.reading() as records:
        assert records.jobs() == ()
        assert records.audit() == ()


def test_a_full_job_needs_the_shops_rules_and_positions_that_exist(ledger: Ledger):
    floor = Floor(ledger)
    with pytest.raises(RecordError, match="positions, checks and matrix"):
        floor.do("RT-1", lambda r: r.add_job(full_job()))
    document = full_job().to_document()
    document["scope"][0]["position"] = "SDR"
    with pytest.raises(RecordError, match="no position SDR"):
        floor.do("RT-1", lambda r: r.add_job(JobFile.from_document(document), RULES))


def test_a_burn_in_only_job_begins_with_an_agreed_scope(ledger: Ledger):
    document = full_job().to_document() | {"process": "burn-in only"}
    document["scope"][0]["state"] = "recommended"
    with pytest.raises(ValueError, match="burn-in only begins with an agreed scope"):
        JobFile.from_document(document)
    assert Process.BURN_IN_ONLY.note == "Dry and wet test are not part of this record."
    assert Process.FULL.note is None


def test_more_runs_than_the_shop_can_make_are_changed_by_order(taken: Floor):
    with pytest.raises(RecordError, match="0 runs prove nothing"):
        taken.do("SE-1", lambda r: r.require_runs(JOB, 0, "x"))
    name = order(taken, accepted=False)
    with pytest.raises(GateClosedError, match="is proposed"):
        taken.do("SE-1", lambda r: r.require_runs(JOB, 50, name))
    accepted = order(taken)
    terms = taken.do("SE-1", lambda r: r.require_runs(JOB, 50, accepted))
    assert (terms.required_runs, terms.change_order) == (50, accepted)
    assert taken.file().rules is not None


def test_a_spare_part_is_a_job_of_its_own_without_a_head(ledger: Ledger):
    rotor = new_tag("QA1043", "RTR", 1)
    job = JobFile.from_document(
        {
            "job": "QA-1043",
            "order": "PO 61-4402T",
            "shop": "Quillmere Spindle & Bowl Works",
            "machine": "spare rotor of QA-1043",
            "process": "full",
            "spares": [{"designation": rotor, "words": "rotor, 11.8 kg"}],
            "scope": [{"item": "SC-01", "unit": rotor, "text": "balance", "state": "accepted"}],
        }
    )
    floor = Floor(ledger, rotor)
    floor.do("RT-1", lambda r: r.add_job(job, RULES))
    with ledger.reading() as records:
        units = records.units("QA-1043")
    assert [(u.designation, u.kind) for u in units] == [(rotor, UnitKind.SPARE)]
    planes = (
        Plane(residual_g_mm=38.0, limit_g_mm=161.3),
        Plane(residual_g_mm=52.0, limit_g_mm=161.3),
    )
    balance = Balance(
        rotor=rotor,
        service_rpm=2200.0,
        grade="G 6.3",
        planes=planes,
        standard_uncertainty_g_mm=7.5,
    )
    with pytest.raises(RecordError, match="no such part"):
        floor.state(balance)


def test_a_finding_becomes_a_line_of_the_scope(taken: Floor):
    finding = Finding(text="bearing rough", severity=Severity.FUNCTION, position="BRF")
    entry = taken.do("IN-3", lambda r: r.open_matter(JOB, finding, unit=HEAD))
    offered = FindingState.OFFERED
    with pytest.raises(GateClosedError, match="no line of the scope"):
        taken.do("IN-3", lambda r: r.step_matter(entry.name, offered, Deed("told")))
    detail = StepDetail(scope_item="SC-05")
    taken.do("IN-3", lambda r: r.step_matter(entry.name, offered, Deed("told"), detail))
    taken.do("IN-3", lambda r: r.step_matter(entry.name, FindingState.SETTLED, Deed("replaced")))

    with taken.ledger.reading() as records:
        found = records.matters(JOB, MatterKind.FINDING, HEAD)
    assert [m.name for m in found] == ["QA-1041-FND-01"]
    assert [s.state for s in found[0].steps] == list(FindingState)


def test_matters_are_numbered_by_kind_and_keep_their_order(taken: Floor):
    for number in (1, 2):
        assert order(taken) == f"QA-1041-CO-{number:02d}"
    bypass = Bypass(interlock="door switch", why="film")
    with pytest.raises(RecordError, match="on a head or on the shared module"):
        taken.do("PR-1", lambda r: r.open_matter(JOB, bypass))
    entry = taken.do("PR-1", lambda r: r.open_matter(JOB, bypass, unit=HEAD))
    assert entry.name == "QA-1041-BYP-01"
    with pytest.raises(RecordError, match='never "open"'):
        taken.do("PR-1", lambda r: r.step_matter(entry.name, LockoutState.OPEN, Deed("x")))
    before = Deed("x", done_at=taken.clock.now - timedelta(minutes=2))
    with pytest.raises(RecordError, match="before its last step"):
        taken.do("PR-1", lambda r: r.step_matter(entry.name, BypassState.REMOVED, before))


def test_a_lockout_names_every_energy_once():
    with pytest.raises(ValueError, match="missing: DI water, heater heat, gravity"):
        Lockout(where="bowl", locked=tuple(Energy)[:4], verification="0 V")
    with pytest.raises(ValueError, match="not both: electrical"):
        Lockout(
            where="bowl", locked=tuple(Energy), left_on=(Energy.ELECTRICAL,), verification="0 V"
        )


def test_a_fact_names_what_is_there(taken: Floor):
    air = RoomAir(oxygen_percent=20.8)
    taken.do("TT-1", lambda r: r.state_fact(air))
    with pytest.raises(RecordError, match="belongs to job"):
        taken.do("TT-1", lambda r: r.state_fact(air, unit=HEAD, job="QA-9"))
    with pytest.raises(RecordError, match="evidence belongs to a job"):
        taken.do("TT-1", lambda r: r.state_fact(air, deed=Deed("x", ("ab" * 32,))))
    film = Film(
        sha256="ab" * 32,
        run="QA-1041-L-001",
        started_at="2031-05-06T08:00:00Z",
        ended_at="2031-05-06T09:00:00Z",
        trace_sha256="cd" * 32,
    )
    with pytest.raises(RecordError, match="no such run"):
        taken.state(film)
    shown = Acknowledgement(token=f"letter {5}", exclusions=("SC-20",))
    entry = taken.do("SE-1", lambda r: r.state_fact(shown, job=JOB))
    assert (entry.job, entry.unit, entry.content) == (JOB, None, shown)
    assert taken.file().stated(RoomAir)[0][1] == air


def test_a_record_that_was_written_down_later_says_so(taken: Floor):
    done = taken.clock.now - timedelta(seconds=30)
    clock = ClockCheck(device="camera 2", offset_s=2.0)
    entry = taken.do("TT-1", lambda r: r.state_fact(clock, deed=Deed("x", done_at=done)))

    assert entered_later(entry.done_at, entry.at)
    assert not entered_later(entry.at, entry.at)
