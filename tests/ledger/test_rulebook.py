"""Each rule alone, on the file of a head that has passed its wet test and on one that breaks it."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from tests.demo_files import LIMITS, LOWER, LOWER_CHANNELS
from tests.ledger.floor import HEAD, OTHER, SHARED, START, Stages, new_tag

from spinproof.ledger.entries import CampaignEntry, Closing, RunEntry, RunState
from spinproof.ledger.head_file import HeadFile, LoadFacts
from spinproof.ledger.ledger import open_ledger
from spinproof.ledger.rulebook import identity, measurement, safety
from spinproof.ledger.rulebook.book import RULES as ALL
from spinproof.ledger.rulebook.book import breaches
from spinproof.ledger.shop_entries import (
    Action,
    AttestationEntry,
    MatterEntry,
    MatterStepEntry,
    Meaning,
    PartEntry,
    Step,
    VacancyEntry,
)
from spinproof.ledger.states import (
    BypassState,
    LockoutState,
    NonconformanceState,
    PartState,
    WaiverState,
)
from spinproof.model import attestation as facts
from spinproof.model.check import Checkpoint, Energy, EvidenceKind
from spinproof.model.handover import Attempt, ConfigurationEntry, EvidenceItem, ScopeState
from spinproof.model.instrument import (
    Calibration,
    InstrumentKind,
    InstrumentRecord,
    InterimCheck,
    Standing,
    Tolerance,
)
from spinproof.model.job import Process
from spinproof.model.judgement import Verdict
from spinproof.model.limit import Basis, Limit
from spinproof.model.matter import Bypass, Lockout, MatterKind, Nonconformance, StepDetail, Waiver
from spinproof.model.part import Paper, Provenance, Severity
from spinproof.model.retest import Change, ChangeKind
from spinproof.model.run import Ending, Outcome, Purpose

LATER, LATEST = "2031-06-01T00:00:00.000Z", "2031-06-02T00:00:00.000Z"
BY = {rule.id: rule for rule in ALL}
SHA = "ab" * 32
LETTER = "letter 17"


@pytest.fixture(scope="session")
def good(stages: Stages) -> HeadFile:
    ledger = open_ledger(f"sqlite:///{stages.file('wet')}", at=START)
    with ledger.reading() as records:
        file = records.head_file(HEAD, date(2031, 5, 7))
    ledger.close()
    return file


def broken(file: HeadFile, rule: str, step: Step = Checkpoint.WET_TEST) -> tuple[str, ...]:
    return BY[rule].broken(file, step)


def occupant(file: HeadFile, code: str) -> PartEntry:
    part = file.occupant(code)
    assert part is not None
    return part


def with_part(file: HeadFile, part: PartEntry) -> HeadFile:
    """Put a part in the place of the one with its tag, or add it."""
    return replace(file, parts=(*(p for p in file.parts if p.tag != part.tag), part))


def stepped(part: PartEntry, **changes: Any) -> PartEntry:
    """Add a step to a part, like its last one but for some changes."""
    return replace(part, steps=(*part.steps, replace(part.now, **{"at": LATER, **changes})))


def fact(content: Any, unit: str | None = HEAD, at: str = LATER, **more: Any) -> AttestationEntry:
    given = {"evidence": (), "done_at": at, "who": "QI-2", "at": at} | more
    return AttestationEntry(900, "QA-1041", unit, content, **given)


def with_facts(file: HeadFile, *entries: AttestationEntry) -> HeadFile:
    return replace(file, facts=(*file.facts, *entries))


def without(file: HeadFile, kind: type) -> HeadFile:
    return replace(file, facts=tuple(e for e in file.facts if not isinstance(e.content, kind)))


def matter(kind: MatterKind, content: Any, *states: Any, unit: str = HEAD) -> MatterEntry:
    steps = tuple(
        MatterStepEntry(state, StepDetail(), "so", (), at, "QI-2", at)
        for state, at in zip(states, (LATER, LATEST), strict=False)
    )
    return MatterEntry(f"QA-1041-{kind.prefix}-99", "QA-1041", unit, kind, content, steps)


def with_matter(file: HeadFile, entry: MatterEntry) -> HeadFile:
    return replace(file, matters=(*file.matters, entry))


def with_line(file: HeadFile, item: str, **changes: Any) -> HeadFile:
    """Change a line of the scope."""
    return replace(
        file,
        scope=tuple(replace(line, **changes) if line.item == item else line for line in file.scope),
    )


def changed(file: HeadFile, kind: ChangeKind, name: str, at: str = LATER) -> HeadFile:
    entry = replace(
        file.changes[0], change=Change(kind=kind, name=name), what=f"{name} changed.", done_at=at
    )
    return replace(file, changes=(*file.changes, entry))


def run(number: int, outcome: Outcome | None = Outcome.COUNTED, **changes: Any) -> RunEntry:
    base = RunEntry(
        name=f"QA-1041-L-{number:03d}",
        job="QA-1041",
        head=HEAD,
        number=number,
        purpose=Purpose.BURN_IN,
        campaign=1,
        planned=number,
        recipe_name="CR-1",
        recipe_sha256="r",
        load_name="13 of 25",
        load_sha256="l",
        wafer_count=13,
        head_sha256="h",
        configuration="as built",
        started_at="2031-05-20T08:00:00.000Z",
        state=RunState.JUDGED,
        ending=Ending.COMPLETE,
        finished_at="2031-05-20T08:10:00.000Z",
        trace_sha256=f"{number:064d}",
        outcome=outcome,
        void=False,
    )
    return replace(base, **changes)


def attempt_of(entry: RunEntry, **changes: Any) -> Attempt:
    assert entry.outcome is not None
    base = Attempt(
        run=entry.name,
        number=entry.number,
        campaign=entry.campaign or 0,
        purpose=entry.purpose,
        started_at=entry.started_at,
        recipe_name=entry.recipe_name,
        wafer_count=entry.wafer_count,
        outcome=entry.outcome,
        void=entry.void,
        reasons=(),
        decided_by="judge",
        second_name=None,
        trace_sha256=entry.trace_sha256 or "",
        judgement_sha256="j",
        evidence=(),
    )
    return replace(base, **changes)


def ran(file: HeadFile, *runs: RunEntry, **changes: Any) -> HeadFile:
    """Let a head have run a campaign."""
    campaign = CampaignEntry(1, HEAD, 1, "plan", "as built", LATER, None, None, None)
    document = {
        "channels": LOWER_CHANNELS.to_document(),
        "head": LOWER.to_document(),
        "limits": LIMITS.to_document(),
    }
    given = {
        "runs": runs,
        "attempts": tuple(attempt_of(r) for r in runs if r.outcome is not None),
        "campaigns": (campaign,),
        "configurations": (ConfigurationEntry("as built", LATER, "as built"),),
        "configuration_documents": {"as built": document},
    }
    return replace(file, **given | changes)


def test_a_head_that_passed_its_wet_test_breaks_no_rule(good: HeadFile):
    assert breaches(good) == ()


def test_r01_a_part_sits_in_one_position_and_a_position_holds_one_part(good: HeadFile):
    valve = occupant(good, "VDI")
    twin = replace(valve, tag="QM207LVDI09K")
    doubled = stepped(valve, position="VN2", done_at=LATER)

    assert broken(good, "R01") == ()
    assert "at once" in broken(with_part(good, twin), "R01")[0]
    assert "VDI and in VN2" in broken(with_part(good, doubled), "R01")[0]


def test_r02_every_position_holds_one_part_or_a_reason_for_being_empty(good: HeadFile):
    valve = occupant(good, "VDI")
    out = with_part(good, stepped(valve, state=PartState.REMOVED, done_at=LATER))
    empty = replace(out, vacancies=(replace_vacancy(out, "VDI"),))

    assert broken(good, "R02") == ()
    assert "VDI (rinse valve)" in broken(out, "R02")[0]
    assert broken(out, "R02", Checkpoint.RESTORATION) == ()
    assert broken(empty, "R02") == ()


def replace_vacancy(file: HeadFile, code: str) -> Any:
    return VacancyEntry(HEAD, code, "ordered, not here yet", LATEST, "AS-2", LATEST)


def test_r03_a_tag_with_a_wrong_check_character_is_no_tag(good: HeadFile):
    valve = occupant(good, "VDI")
    wrong = replace(valve, tag=valve.tag[:-1] + ("0" if valve.tag[-1] != "0" else "1"))

    assert broken(good, "R03") == ()
    assert "check character does not fit" in broken(with_part(good, wrong), "R03")[0]


def test_r04_nothing_is_claimed_of_a_head_out_of_scope(good: HeadFile):
    declined = replace(good, unit=replace(good.unit, in_scope=False))

    assert broken(good, "R04") == ()
    claims = broken(declined, "R04")
    assert any("signature of the dry test" in claim for claim in claims)
    assert any("pass of D-02" in claim for claim in claims)
    assert any("accepted line" in claim for claim in claims)
    assert identity.observed(good) == ()
    assert any(seen.startswith("D-02, largest bonding") for seen in identity.observed(declined))


def test_r05_every_line_that_was_not_agreed_prints_as_an_exclusion(good: HeadFile):
    items = tuple(line.item for line in identity.exclusions(good.scope))
    told = facts.Acknowledgement(token=LETTER, exclusions=items)
    short = facts.Acknowledgement(token=LETTER, exclusions=items[:-1])

    assert items == ("SC-20", "SC-21", "SC-22", "SC-27", "SC-28", "SC-29")
    assert identity.left_out(good.scope, items[1:]) == ("SC-20",)
    assert broken(with_facts(good, fact(told, unit=None)), "R05", Action.SHIP) == ()
    assert "SC-29" in broken(with_facts(good, fact(short, unit=None)), "R05", Action.SHIP)[0]
    undecided = with_line(good, "SC-01", state=ScopeState.RECOMMENDED)
    assert "SC-01" in identity.left_out(undecided.scope, items)


def test_r06_the_shared_module_is_decided_before_the_dry_test(good: HeadFile):
    open_line = with_line(good, "SC-25", state=ScopeState.RECOMMENDED)
    none = replace(good, scope=tuple(s for s in good.scope if s.unit != SHARED))

    assert broken(good, "R06") == ()
    assert "SC-25 of the shared module" in broken(open_line, "R06")[0]
    assert "Nothing is agreed" in broken(none, "R06")[0]
    assert Checkpoint.DRY_TEST in BY["R06"].entering
    assert broken(replace(none, shared=None), "R06") == ()


def test_r07_no_accepted_work_reaches_the_release_without_evidence(good: HeadFile):
    bare = broken(good, "R07", Checkpoint.RELEASE)
    shown = replace(
        good,
        scope=tuple(replace(s, steps=(replace(s.steps[0], evidence=(SHA,)),)) for s in good.scope),
    )

    assert "21 accepted lines of the scope have no evidence" in bare[0]
    assert broken(shown, "R07", Checkpoint.RELEASE) == ()


@pytest.mark.parametrize(
    ("provenance", "code", "is_agreed"),
    [
        (Provenance.REPLACED_NEW, "VDI", True),
        (Provenance.REPLACED_NEW, "WIN", False),
        (Provenance.REPLACED_NEW, "MOT", False),
        (Provenance.CLEANED, "MOT", True),
        (Provenance.DONOR_PULLED, "WIN", False),
        (Provenance.CUSTOMER_SUPPLIED, "VDI", False),
    ],
)
def test_r08_a_part_exchanged_where_nobody_accepted_it_is_asked_about(
    good: HeadFile, provenance: Provenance, code: str, *, is_agreed: bool
):
    old = occupant(good, code)
    out = with_part(good, stepped(old, state=PartState.REMOVED, done_at=LATER))
    tag = new_tag(HEAD, code, 2)
    fitted = replace(old.now, provenance=provenance, done_at=LATEST, at=LATEST)
    exchanged = with_part(out, replace(old, tag=tag, steps=(fitted,)))

    assert bool(broken(exchanged, "R08")) is not is_agreed
    about = Nonconformance(text="not agreed", severity=Severity.FUNCTION, position=code)
    asked = matter(MatterKind.NONCONFORMANCE, about, NonconformanceState.OPEN)
    assert broken(with_matter(exchanged, asked), "R08") == ()


def test_r08_looks_at_what_was_agreed_when_the_part_was_fitted(good: HeadFile):
    old = occupant(good, "VDI")
    fitted = replace(old.now, provenance=Provenance.REPLACED_NEW, done_at=LATER, at=LATER)
    new = replace(old, tag=new_tag(HEAD, "VDI", 2), steps=(fitted,))
    out = with_part(good, stepped(old, state=PartState.REMOVED, done_at=LATER))
    line = next(line for line in good.scope if line.item == "SC-13")
    withdrawn = replace(line.steps[0], state=ScopeState.WITHDRAWN, at=LATEST)
    later_withdrawn = with_line(
        with_part(out, new), "SC-13", state=ScopeState.WITHDRAWN, steps=(*line.steps, withdrawn)
    )

    assert broken(later_withdrawn, "R08") == ()


@pytest.mark.parametrize(
    ("provenance", "papers", "missing"),
    [
        (Provenance.KEPT, (), 0),
        (Provenance.REPLACED_NEW, (), 1),
        (Provenance.REPLACED_NEW, (Paper.PACKING_RECORD,), 0),
        (Provenance.REPLACED_REFURBISHED, (Paper.CERTIFICATE,), 1),
        (Provenance.REPLACED_REFURBISHED, (Paper.REFURBISHMENT_RECORD,), 0),
        (Provenance.DONOR_PULLED, (Paper.CERTIFICATE, Paper.REFURBISHMENT_RECORD), 1),
        (Provenance.DONOR_PULLED, tuple(Paper), 0),
    ],
)
def test_r09_what_is_claimed_of_an_origin_has_its_papers(
    good: HeadFile, provenance: Provenance, papers: tuple[Paper, ...], missing: int
):
    valve = occupant(good, "VDI")
    claimed = with_part(good, replace(valve, steps=(replace(valve.now, provenance=provenance),)))
    held = [fact(facts.HeldPaper(tag=valve.tag, paper=paper)) for paper in papers]

    found = broken(with_facts(claimed, *held), "R09", Checkpoint.BUILD)
    assert len(found) == missing
    assert all(valve.tag in sentence for sentence in found)


@pytest.mark.parametrize(
    ("text", "is_kept"),
    [
        ("No shop warranty on this part.", True),
        ("Comes without any warranty of the shop.", True),
        ("12 months warranty like all parts.", False),
    ],
)
def test_r10_no_text_gives_a_warranty_on_what_the_customer_supplied(
    good: HeadFile, text: str, *, is_kept: bool
):
    assert [line.item for line in identity.without_warranty(good.scope)] == ["SC-23", "SC-24"]
    assert (broken(with_line(good, "SC-23", consequence=text), "R10") == ()) is is_kept


def test_r11_a_check_tells_only_about_parts_that_were_there(good: HeadFile):
    exchanged = changed(good, ChangeKind.PART, "VDI")

    found = broken(exchanged, "R11")
    assert broken(good, "R11") == ()
    assert [sentence[:4] for sentence in found] == ["W-03", "W-07", "W-08", "W-09", "W-23", "W-24"]
    assert "before the last change" in found[0]
    assert broken(changed(good, ChangeKind.SETTING, "tach gap"), "R11") == ()


def test_r12_all_counted_runs_of_a_campaign_share_one_fingerprint(good: HeadFile):
    assert broken(ran(good, run(1), run(2)), "R12") == ()
    odd = ran(good, run(1), run(2, configuration="changed"))
    assert "QA-1041-L-002 counts" in broken(odd, "R12")[0]
    assert broken(ran(good, run(1, Outcome.ABORTED, configuration="x")), "R12") == ()


def test_r13_a_changed_head_has_no_open_campaign(good: HeadFile):
    open_one = ran(good, run(1))
    new = (*open_one.configurations, ConfigurationEntry("changed", LATEST, "gap set"))
    changed_since = replace(open_one, configurations=new)
    closed = replace(open_one.campaigns[0], closing=Closing.CONFIGURATION)

    assert broken(open_one, "R13") == ()
    assert "Campaign 1 is open" in broken(changed_since, "R13")[0]
    assert broken(replace(changed_since, campaigns=(closed,)), "R13") == ()


def test_r14_a_recording_by_a_clock_that_nobody_compared_is_flagged(good: HeadFile):
    bare = without(good, facts.EvidenceDetail)
    taken = facts.EvidenceDetail(
        sha256=SHA,
        shows=EvidenceKind.PHOTO,
        captured_at="2031-05-20T08:00:00+00:00",
        device="camera 2",
    )
    near = facts.ClockCheck(device="camera 2", offset_s=3.0)

    assert broken(bare, "R14") == ()
    assert "not compared" in broken(with_facts(bare, fact(taken)), "R14")[0]
    for at, flagged in (("2031-05-19T09:00:00.000Z", 0), ("2031-05-19T07:00:00.000Z", 1)):
        compared = with_facts(bare, fact(taken), fact(near, unit=None, done_at=at))
        assert len(broken(compared, "R14")) == flagged


def test_r15_a_signature_is_later_than_what_it_covers_and_by_another_person(good: HeadFile):
    wet = [s for s in good.signatures if s.checkpoint is Checkpoint.WET_TEST]
    verified = wet[-1]
    assert verified.meaning is Meaning.VERIFIED

    def signed(**changes: Any) -> HeadFile:
        others = tuple(s for s in good.signatures if s is not verified)
        return replace(good, signatures=(*others, replace(verified, **changes)))

    assert broken(good, "R15") == ()
    assert "before" in broken(signed(done_at="2031-05-06T07:10:00.000Z"), "R15")[0]
    assert "verified it" in broken(signed(who="tt-1 "), "R15")[0]
    assert "nobody signed it as performed" in broken(signed(covers="else"), "R15")[0]


def test_r16_a_limit_holds_for_readings_made_after_it_was_set(good: HeadFile):
    raised = facts.AgreedLimit(
        check="D-10",
        reading="rim, radial, top plane",
        limit=Limit(
            metric="rim, radial, top plane",
            upper=0.5,
            unit="mm",
            basis=Basis.CUSTOMER,
            source="letter 4",
        ),
        approved_by="L-4",
    )
    own = next(m for m in good.measurements if (m.check, m.reading) == ("D-10", raised.reading))
    judged_late = replace(
        good,
        measurements=tuple(
            replace(m, limit=raised.limit) if m is own else m for m in good.measurements
        ),
    )

    assert broken(good, "R16") == ()
    assert broken(with_facts(good, fact(raised)), "R16") == ()
    assert "not in force" in broken(with_facts(judged_late, fact(raised)), "R16")[0]


def test_r17_a_head_is_energised_cleared_unlocked_bonded_and_insulated(good: HeadFile):
    everything = Lockout(where="bowl", locked=tuple(Energy), verification="0 V")
    locked = matter(MatterKind.LOCKOUT, everything, LockoutState.OPEN)
    kept_on = Lockout(
        where="bowl",
        locked=tuple(e for e in Energy if e is not Energy.ELECTRICAL),
        left_on=(Energy.ELECTRICAL,),
        verification="rotor pinned",
    )
    partly = matter(MatterKind.LOCKOUT, kept_on, LockoutState.OPEN)
    quarantined = facts.Decontamination(
        direction=facts.Direction.INCOMING, cleared=False, hazards=("acid?",), method="strip"
    )

    def against(file: HeadFile) -> str:
        return " ".join(broken(file, "R17", Action.ENERGISE))

    assert against(good) == ""
    assert "locks the mains" in against(with_matter(good, locked))
    assert against(with_matter(good, partly)) == ""
    assert "not cleared" in against(with_facts(good, fact(quarantined)))
    assert "not cleared" in against(without(good, facts.Decontamination))
    assert "No lockout" in against(
        replace(good, matters=tuple(m for m in good.matters if m.kind is not MatterKind.LOCKOUT))
    )
    assert "D-02" in against(changed(good, ChangeKind.PART, "PAN"))
    assert "D-03" in against(changed(good, ChangeKind.PART, "MOT"))


def test_r18_checkpoints_are_passed_in_their_order(good: HeadFile):
    fresh = replace(good, signatures=(), checks=())
    wet = good.signatures[-1]
    dry_only = replace(
        good, signatures=tuple(s for s in good.signatures if s.checkpoint is not wet.checkpoint)
    )
    undecided = with_line(good, "SC-01", state=ScopeState.PROPOSED)

    assert broken(good, "R18", Checkpoint.FINAL_TEST) == ()
    assert broken(dry_only, "R18", Checkpoint.WET_TEST) == ()
    assert broken(dry_only, "R18", Checkpoint.FINAL_TEST) == ("Not passed yet: wet test.",)
    assert broken(dry_only, "R18", Action.COUNT) == ("Not passed yet: wet test.",)
    assert "final test" in broken(good, "R18", Checkpoint.SOURCE_INSPECTION)[0]
    assert "incoming inspection, teardown" in broken(fresh, "R18", Checkpoint.DRY_TEST)[0]
    assert "SC-01 is proposed" in broken(undecided, "R18", Checkpoint.BUILD)[0]


def test_r19_no_rotor_spins_before_it_is_balanced_in_its_spindle(good: HeadFile):
    rotor = occupant(good, "RTR")
    out = with_part(good, stepped(rotor, state=PartState.REMOVED, done_at=LATER))
    other = replace(rotor, tag=new_tag(HEAD, "RTR", 2), steps=(replace(rotor.now, at=LATEST),))

    assert broken(good, "R19", Action.SPIN) == ()
    assert "no balance record" in broken(without(good, facts.Balance), "R19", Action.SPIN)[0]
    assert other.tag in broken(with_part(out, other), "R19", Action.SPIN)[0]
    assert "No rotor" in broken(out, "R19", Action.SPIN)[0]
    rough = good.stated(facts.Balance)[-1][1].model_copy(
        update={"planes": (facts.Plane(residual_g_mm=90.0, limit_g_mm=96.69),)}
    )
    assert "plane 1 is undecided" in broken(with_facts(good, fact(rough)), "R19", Action.SPIN)[0]


def test_r20_a_bridged_interlock_closes_every_gate_and_the_door_is_proven(good: HeadFile):
    bridge = matter(
        MatterKind.BYPASS, Bypass(interlock="door switch", why="film"), BypassState.ACTIVE
    )
    bridged = with_matter(good, bridge)
    gone = matter(
        MatterKind.BYPASS,
        Bypass(interlock="door switch", why="film"),
        BypassState.ACTIVE,
        BypassState.REMOVED,
    )

    for step in (*Checkpoint, *Action):
        assert broken(good, "R20", step) == ()
        assert "door switch" in broken(bridged, "R20", step)[0]
        assert step in BY["R20"].entering
    assert broken(with_matter(good, gone), "R20") == ()
    unproven = changed(good, ChangeKind.PART, "DSW")
    assert "D-08" in broken(unproven, "R20", Action.TURN)[0]
    assert broken(unproven, "R20", Checkpoint.DRY_TEST) == ()


@pytest.mark.parametrize("severity", Severity)
def test_r21_a_gate_needs_every_grave_nonconformance_closed_or_waived(
    good: HeadFile, severity: Severity
):
    about = Nonconformance(text="seat nicked", severity=severity)
    is_open = matter(MatterKind.NONCONFORMANCE, about, NonconformanceState.OPEN)
    is_closed = matter(
        MatterKind.NONCONFORMANCE, about, NonconformanceState.OPEN, NonconformanceState.CLOSED
    )
    content = Waiver(subject=is_open.name, why="harmless", risk="none seen", until=date(2031, 5, 7))
    waived = matter(MatterKind.WAIVER, content, WaiverState.ASKED, WaiverState.IN_FORCE)
    asked = matter(MatterKind.WAIVER, content, WaiverState.ASKED)

    blocks = severity is not Severity.COSMETIC
    assert bool(broken(with_matter(good, is_open), "R21")) is blocks
    assert broken(with_matter(good, is_closed), "R21") == ()
    assert broken(with_matter(with_matter(good, is_open), waived), "R21") == ()
    assert bool(broken(with_matter(with_matter(good, is_open), asked), "R21")) is blocks
    ended = replace(with_matter(with_matter(good, is_open), waived), today=date(2031, 5, 8))
    assert bool(broken(ended, "R21")) is blocks


def test_r22_what_a_change_made_invalid_is_passed_again(good: HeadFile):
    set_anew = changed(good, ChangeKind.SETTING, "tach gap")

    assert broken(good, "R22") == ()
    assert [s[:4] for s in broken(set_anew, "R22")] == ["W-15", "W-16", "W-19", "W-20", "W-21"]
    assert [s[:4] for s in broken(set_anew, "R22", Checkpoint.DRY_TEST)] == ["D-14", "D-19"]
    limit = changed(good, ChangeKind.LIMIT, "W-04")
    assert [s[:4] for s in broken(limit, "R22")] == ["W-04"]
    before = changed(good, ChangeKind.SETTING, "tach gap", at="2031-05-06T07:00:00.000Z")
    assert broken(before, "R22") == ()


def measured(file: HeadFile, check: str, reading: str, **changes: Any) -> HeadFile:
    """Change one measurement."""
    return replace(
        file,
        measurements=tuple(
            replace(m, **changes) if (m.check, m.reading) == (check, reading) else m
            for m in file.measurements
        ),
    )


RUNOUT = ("D-10", "rim, radial, top plane")


def test_r23_a_value_has_a_unit_of_the_dimension_that_is_asked_for(good: HeadFile):
    assert broken(good, "R23") == ()
    assert "is no length" in broken(measured(good, *RUNOUT, symbol="rpm"), "R23")[0]
    assert "is no length" in broken(measured(good, *RUNOUT, symbol=None), "R23")[0]
    assert broken(measured(good, *RUNOUT, symbol="in"), "R23") == ()


def calibrated(file: HeadFile, name: str, **changes: Any) -> HeadFile:
    """Change the last calibration of an instrument."""
    known = file.instruments[name]
    last = Calibration.from_document(known.calibrations[-1].to_document() | changes)
    new = known.model_copy(update={"calibrations": (*known.calibrations[:-1], last)})
    return replace(file, instruments={**file.instruments, name: new})


def test_r24_an_instrument_out_of_calibration_or_range_supports_no_pass(good: HeadFile):
    gauge = "dial gauge 1"
    expired = calibrated(good, gauge, due="2031-05-01")
    outside = measured(good, *RUNOUT, value=2e9)

    assert broken(good, "R24", Checkpoint.DRY_TEST) == ()
    for file, word in ((expired, "expired"), (outside, "outside its range")):
        assert word in broken(file, "R24", Checkpoint.DRY_TEST)[0]
    assert broken(expired, "R24", Checkpoint.WET_TEST) == ()


def test_r24_runs_are_looked_at_with_the_calibrations_known_today(good: HeadFile):
    late = "2035-01-01T08:00:00.000Z"
    counted = ran(good, run(1, started_at=late), run(2, started_at=late))
    found = broken(counted, "R24", Checkpoint.FINAL_TEST)

    assert any("2 counted runs" in sentence and "expired" in sentence for sentence in found)
    early = run(1, started_at="2031-02-20T08:00:00.000Z")
    assert broken(ran(good, early), "R24", Checkpoint.FINAL_TEST) == ()


def test_r25_every_verdict_states_its_rule(good: HeadFile):
    assert broken(good, "R25") == ()
    assert "no decision rule" in broken(measured(good, *RUNOUT, rule=None), "R25")[0]
    assert broken(measured(good, *RUNOUT, rule=None, verdict=None), "R25") == ()


def test_r26_a_large_uncertainty_states_the_probability_of_a_false_acceptance(good: HeadFile):
    both = Limit(metric="x", lower=0.0, upper=0.25, unit="mm", basis=Basis.SHOP_RULE, source="shop")
    wide = measured(good, *RUNOUT, limit=both, standard_uncertainty=0.03, note=None)

    assert broken(good, "R26") == ()
    assert "false acceptance" in broken(wide, "R26")[0]
    assert broken(measured(wide, *RUNOUT, note="2 %"), "R26") == ()
    assert broken(measured(wide, *RUNOUT, standard_uncertainty=0.01), "R26") == ()
    assert broken(measured(wide, *RUNOUT, verdict=Verdict.UNDECIDED), "R26") == ()


def test_r27_an_instrument_found_wrong_puts_its_measurements_in_doubt(good: HeadFile):
    known = good.instruments["dial gauge 1"]

    def checked(on: date, found: Tolerance) -> HeadFile:
        check = InterimCheck(at=on, found=found)
        new = known.model_copy(update={"checks": (check,)})
        return replace(good, instruments={**good.instruments, known.id: new})

    wrong = checked(date(2031, 6, 1), Tolerance.OUT)
    assert broken(good, "R27", Checkpoint.DRY_TEST) == ()
    assert "suspect" in broken(wrong, "R27", Checkpoint.DRY_TEST)[0]
    assert {s[:4] for s in measurement.suspects(wrong)} == {"D-10"}
    assert measurement.suspects(checked(date(2031, 6, 1), Tolerance.IN)) == ()
    assert measurement.suspects(checked(date(2031, 5, 1), Tolerance.OUT)) == ()


def test_r28_the_machines_own_display_is_never_the_sole_evidence(good: HeadFile):
    display = "the machine's own display 1"
    own = InstrumentRecord(
        id=display, kind=InstrumentKind.MACHINE_DISPLAY, words="the controller's screen"
    )
    shown = replace(
        measured(good, *RUNOUT, instrument=display, standing=Standing.OWN_DISPLAY),
        instruments={**good.instruments, display: own},
    )

    assert broken(good, "R28", Checkpoint.DRY_TEST) == ()
    assert "display alone" in broken(shown, "R28", Checkpoint.DRY_TEST)[0]
    document = LOWER_CHANNELS.to_document()
    document["channels"] = [c for c in document["channels"] if c["role"] == "display-speed"]
    blind = ran(good, run(1), configuration_documents={"as built": {"channels": document}})
    assert "display alone" in broken(blind, "R28", Checkpoint.FINAL_TEST)[0]
    assert broken(ran(good, run(1)), "R28", Checkpoint.FINAL_TEST) == ()


def test_r29_no_trace_counts_before_its_channels_are_bound_to_the_head(good: HeadFile):
    assert broken(good, "R29", Action.COUNT) == ()
    swapped = changed(good, ChangeKind.PART, "WIR")
    assert "W-01" in broken(swapped, "R29", Action.COUNT)[0]
    assert BY["R29"].passing == {Checkpoint.FINAL_TEST}


def test_r30_a_run_counts_only_when_it_was_recorded_whole_and_judged(good: HeadFile):
    assert broken(ran(good, run(1)), "R30") == ()
    cut = ran(good, run(1, ending=Ending.INTERRUPTED))
    assert "interrupted" in broken(cut, "R30")[0]
    assert broken(ran(good, run(1, trace_sha256=None)), "R30") != ()
    unjudged = ran(good, run(1), attempts=(attempt_of(run(1), judgement_sha256=""),))
    assert "never judged" in broken(unjudged, "R30")[0]
    assert broken(ran(good, run(1, Outcome.ABORTED, ending=Ending.INTERRUPTED)), "R30") == ()


def test_r31_attempts_and_their_parts_add_up(good: HeadFile):
    mixed = ran(good, run(1), run(2, Outcome.RELEVANT_FAILURE), run(3, Outcome.INVALID_OPERATOR))
    assert broken(mixed, "R31") == ()
    assert "do not add up" in broken(replace(mixed, attempts=mixed.attempts[1:]), "R31")[0]


def test_r32_an_outside_cause_has_evidence_and_a_second_person(good: HeadFile):
    entry = run(1, Outcome.INVALID_OUTSIDE)

    def classified(**changes: Any) -> tuple[str, ...]:
        return broken(ran(good, entry, attempts=(attempt_of(entry, **changes),)), "R32")

    shown = {"evidence": (SHA,), "decided_by": "TT-1", "second_name": "QI-2"}
    assert classified(**shown) == ()
    assert classified(**shown | {"evidence": ()}) != ()
    assert classified(**shown | {"second_name": None}) != ()
    assert classified(**shown | {"second_name": "tt-1"}) != ()


def test_r33_the_last_campaign_has_as_many_runs_as_the_order_asks_for(good: HeadFile):
    fifty = ran(good, *(run(n) for n in range(1, 51)))
    asked = replace(fifty, terms=replace(fifty.terms, required_runs=59))

    assert broken(fifty, "R33", Checkpoint.FINAL_TEST) == ()
    assert "The shop asks for 50" in broken(ran(good, run(1)), "R33")[0]
    assert broken(asked, "R33") == (
        "The order asks for 59 counted runs in a row; campaign 1 has 50.",
    )
    assert BY["R33"].passing == {Checkpoint.FINAL_TEST, Checkpoint.RELEASE}


def test_r34_an_off_axis_rotor_is_loaded_in_balance(good: HeadFile):
    even = ran(good, run(1), loads={"QA-1041-L-001": LoadFacts(0.0, 1124.7, 0.0)})
    odd = ran(good, run(1), loads={"QA-1041-L-001": LoadFacts(4167.1, 1124.7, 60.4)})

    assert broken(even, "R34") == ()
    assert "3.71 times what is permissible" in broken(odd, "R34")[0]


def test_r35_as_many_wafers_come_out_as_went_in(good: HeadFile):
    silent = ran(good, run(1))
    told = with_facts(silent, fact(facts.Unloading(run="QA-1041-L-001", whole=13)))
    about = Nonconformance(text="one broken", severity=Severity.SAFETY, run="QA-1041-L-001")
    asked = with_matter(told, matter(MatterKind.NONCONFORMANCE, about, NonconformanceState.OPEN))

    assert "do not say how many wafers" in broken(silent, "R35", Checkpoint.FINAL_TEST)[0]
    assert broken(told, "R35", Checkpoint.FINAL_TEST) == ()
    assert "did not come out whole" in broken(asked, "R35", Action.COUNT)[0]
    assert broken(ran(good, run(1, wafer_count=0)), "R35", Checkpoint.FINAL_TEST) == ()


def test_r36_a_door_released_out_of_order_never_counts(good: HeadFile):
    about = Nonconformance(
        text="Door released out of order in run QA-1041-L-001: before the seal was vented.",
        severity=Severity.SAFETY,
        run="QA-1041-L-001",
    )
    asked = matter(MatterKind.NONCONFORMANCE, about, NonconformanceState.OPEN)

    assert broken(with_matter(ran(good, run(2)), asked), "R36") == ()
    assert "out of order" in broken(with_matter(ran(good, run(1)), asked), "R36")[0]
    failed = ran(good, run(1, Outcome.RELEVANT_FAILURE))
    assert broken(with_matter(failed, asked), "R36") == ()


def test_r37_hands_are_in_the_head_only_under_a_lockout_of_every_energy(good: HeadFile):
    valve = occupant(good, "VDI")
    at = "2031-06-01T12:00:00.000Z"
    out = with_part(good, stepped(valve, state=PartState.REMOVED, done_at=at))
    every = Lockout(where="bowl", locked=tuple(Energy), verification="0 V")
    partly = Lockout(
        where="bowl",
        locked=tuple(e for e in Energy if e is not Energy.AIR),
        left_on=(Energy.AIR,),
        verification="0 V",
    )

    def under(content: Lockout, *states: LockoutState) -> tuple[str, ...]:
        return broken(with_matter(out, matter(MatterKind.LOCKOUT, content, *states)), "R37")

    assert broken(good, "R37") == ()
    assert "without an open lockout" in broken(out, "R37")[0]
    assert under(every, LockoutState.OPEN) == ()
    assert under(every, LockoutState.OPEN, LockoutState.REMOVED) == ()
    assert under(partly, LockoutState.OPEN) != ()
    before = with_part(
        good, stepped(valve, state=PartState.REMOVED, done_at="2031-05-31T00:00:00.000Z")
    )
    assert broken(with_matter(before, matter(MatterKind.LOCKOUT, every, LockoutState.OPEN)), "R37")


@pytest.mark.parametrize(
    ("air", "warns"),
    [
        ({"oxygen_percent": 20.8}, False),
        ({"oxygen_percent": 19.5}, False),
        ({"oxygen_percent": 19.4}, True),
        ({"fresh_air_m3_h": 30.0, "nitrogen_m3_h": 10.95}, True),
        ({"fresh_air_m3_h": 152.4, "nitrogen_m3_h": 10.95}, True),
        ({"fresh_air_m3_h": 152.6, "nitrogen_m3_h": 10.95}, False),
    ],
)
def test_r38_the_air_of_the_room_is_on_record_where_nitrogen_flows(
    good: HeadFile, air: dict[str, float], *, warns: bool
):
    assert "nitrogen displaces air" in broken(good, "R38")[0]
    assert bool(broken(with_facts(good, fact(facts.RoomAir(**air), unit=None)), "R38")) is warns


def test_r38_warns_by_the_balance_of_a_well_mixed_room():
    assert safety.steady_oxygen_percent(30.0, 10.95) == pytest.approx(15.3114, abs=1e-4)
    assert safety.steady_oxygen_percent(0.0, 0.0) == safety.OXYGEN_IN_AIR


def test_r39_what_remains_is_listed_or_named_as_unknown_by_a_person(good: HeadFile):
    base = {"direction": facts.Direction.OUTGOING, "method": "rinse"}
    named = facts.Decontamination(cleared=True, none_known_by="QI-2", **base)
    listed = facts.Decontamination(cleared=True, hazards=("Springs under load.",), **base)
    held = facts.Decontamination(cleared=False, hazards=("Acid in the trap.",), **base)

    assert "No outgoing record" in broken(good, "R39", Action.SHIP)[0]
    assert broken(with_facts(good, fact(named)), "R39", Action.SHIP) == ()
    assert broken(with_facts(good, fact(listed)), "R39", Action.SHIP) == ()
    assert "not cleared" in broken(with_facts(good, fact(held)), "R39", Action.SHIP)[0]
    with pytest.raises(ValueError, match="hazards"):
        facts.Decontamination(cleared=True, **base)


def picture(shows: EvidenceKind = EvidenceKind.PHOTO, **changes: Any) -> Any:
    return facts.EvidenceDetail(**{"sha256": SHA, "shows": shows} | changes)


def test_r40_nothing_is_shown_that_nobody_looked_at(good: HeadFile):
    release = Checkpoint.RELEASE
    assert broken(good, "R40", release) == ()
    assert "nobody looked" in broken(with_facts(good, fact(picture())), "R40", release)[0]
    assert broken(with_facts(good, fact(picture(removed=()))), "R40", release) == ()
    assert broken(with_facts(good, fact(picture(), unit=OTHER)), "R40", release) == ()


@pytest.mark.parametrize(
    ("order", "is_kept"),
    [
        ("PO 40-7716Q", True),
        ("d41d8cd98f00b204e9800998ecf8427e", False),
        ("e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855", False),
    ],
)
def test_r41_an_order_is_no_plain_hash(good: HeadFile, order: str, *, is_kept: bool):
    assert (broken(replace(good, order=order), "R41") == ()) is is_kept


def test_r42_a_picture_belongs_to_its_head(good: HeadFile):
    check = replace(good.checks[0], evidence=(SHA,))
    used = replace(good, checks=(check, *good.checks[1:]))

    assert broken(good, "R42") == ()
    assert broken(with_facts(used, fact(picture())), "R42") == ()
    assert broken(with_facts(used, fact(picture(), unit=SHARED)), "R42") == ()
    assert OTHER in broken(with_facts(used, fact(picture(), unit=OTHER)), "R42")[0]


def test_r43_a_film_names_its_run_its_times_and_its_trace(good: HeadFile):
    witness = run(57, purpose=Purpose.WITNESS, planned=None)
    shown = ran(good, witness)
    step = Checkpoint.SOURCE_INSPECTION

    def film(**changes: Any) -> HeadFile:
        given = {
            "sha256": SHA,
            "run": witness.name,
            "started_at": "2031-05-20T08:00:00.000Z",
            "ended_at": "2031-05-20T08:12:00.000Z",
            "trace_sha256": witness.trace_sha256,
        }
        return with_facts(shown, fact(facts.Film(**given | changes)))

    assert broken(film(), "R43", step) == ()
    assert "another trace" in broken(film(trace_sha256="cd" * 32), "R43", step)[0]
    assert "ends before" in broken(film(ended_at="2031-05-20T07:00:00.000Z"), "R43", step)[0]
    assert "no witnessed run" in broken(film(run="QA-1041-L-001"), "R43", step)[-1]
    used = replace(good.checks[0], check="S-08", evidence=(SHA,))
    loose = replace(shown, checks=(*shown.checks, used))
    detail = fact(picture(EvidenceKind.FILM))
    assert "tied to no run" in broken(with_facts(loose, detail), "R43", step)[0]
    cut = fact(picture(EvidenceKind.FILM, parent="cd" * 32))
    assert broken(with_facts(loose, cut), "R43", step) == ()


@pytest.mark.parametrize(
    "text",
    ["machine fully refurbished", "bearing as new", "complies with the order", "all heads tested"],
)
def test_r44_texts_of_people_promise_nothing(good: HeadFile, text: str):
    assert broken(good, "R44") == ()
    for file in (
        with_line(good, "SC-01", text=text),
        with_line(good, "SC-20", consequence=text),
        replace(good, evidence=(EvidenceItem(SHA, "a.jpg", text, "TT-1", LATER),)),
        replace(good, configurations=(ConfigurationEntry("x", LATER, text),)),
    ):
        assert "promise more" in broken(file, "R44")[0]


def test_r45_nothing_is_shipped_before_dossier_exclusions_proofs_and_list(good: HeadFile):
    bare = " ".join(broken(good, "R45", Action.SHIP))
    assert "not released" in bare
    assert "No dossier" in bare
    assert "did not acknowledge" in bare
    assert "No record says" in bare
    tags = tuple(part.tag for parts in good.occupants.values() for part in parts)

    def packed(tags: tuple[str, ...], evidence: tuple[str, ...] = (SHA,)) -> str:
        shipment = facts.Shipment(crate="K-1", tags=tags, drained="blown dry", restrained="blocked")
        given = with_facts(
            good,
            fact(facts.DossierIssued(package="QA-1041", list_sha256=SHA)),
            fact(facts.Acknowledgement(token=LETTER, exclusions=("SC-20",)), unit=None),
            fact(shipment, evidence=evidence),
        )
        return " ".join(broken(given, "R45", Action.SHIP))

    assert packed(tags) == "The head is not released."
    assert "Nothing shows" in packed(tags, ())
    assert tags[0] in packed(tags[1:])
    assert "not built in: X" in packed((*tags, "X"))


def test_rules_of_the_full_process_leave_burn_in_alone(good: HeadFile):
    burn_in = replace(
        good, terms=replace(good.terms, process=Process.BURN_IN_ONLY), rules=None, signatures=()
    )
    for rule in ALL:
        if rule.full_process_only:
            assert rule.broken(burn_in, Checkpoint.RELEASE) == ()


def test_the_rules_are_numbered_without_a_gap():
    assert [rule.id for rule in ALL] == [f"R{number:02d}" for number in range(1, 46)]
