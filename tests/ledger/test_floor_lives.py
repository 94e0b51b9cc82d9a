"""Random lives of a head on the shop floor: nothing that people try leads where a rule is broken.

What must hold is worked out here once more from the plain records, by other means than the rules.
"""

import shutil
import tempfile
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from hypothesis import Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    rule,
    run_state_machine_as_test,
)
from tests.demo_files import CR_1, LIMITS, LOWER, PARTIAL_LOAD
from tests.ledger.cases import judged
from tests.ledger.floor import (
    HEAD,
    OTHER,
    RULES,
    SHARED,
    START,
    Floor,
    Stages,
    add_expired_instruments,
    good_answer,
    new_tag,
)
from tests.ledger.plain_truth import faults, faults_of_a_start

from spinproof.files.digest import sha256_of_bytes
from spinproof.ledger.entries import Closing
from spinproof.ledger.ledger import open_ledger
from spinproof.ledger.measuring import Answered
from spinproof.ledger.records import Records
from spinproof.ledger.rulebook.book import breaches
from spinproof.ledger.shop_entries import Deed, Meaning, Piece
from spinproof.ledger.standing import gate_signature, required_checks, standing_of
from spinproof.ledger.states import (
    BypassState,
    LockoutState,
    NonconformanceState,
    PartState,
    WaiverState,
)
from spinproof.model.attestation import (
    AgreedLimit,
    Decontamination,
    Direction,
    HeldPaper,
    Unloading,
)
from spinproof.model.check import Checkpoint, Energy
from spinproof.model.errors import SpinproofError
from spinproof.model.handover import ScopeState
from spinproof.model.instrument import InterimCheck, Tolerance
from spinproof.model.limit import Basis, Limit
from spinproof.model.matter import (
    Bypass,
    Lockout,
    MatterKind,
    Nonconformance,
    StepDetail,
    Waiver,
)
from spinproof.model.part import Disposition, Paper, Provenance, Severity
from spinproof.model.retest import checks_to_repeat
from spinproof.model.run import Ending, Outcome, Purpose
from spinproof.plan.planning import make_plan

PLAN = make_plan("burn-in", LOWER, (CR_1,), 2, 1, 4, 7, PARTIAL_LOAD)
PEOPLE = st.sampled_from(["TT-1", "AS-2", "QI-2", "OW-1"])
CODES = st.sampled_from(["VDI", "RTR", "WIN", "MOT", "TAC", "DSW", "ION"])
POINTS = st.sampled_from(
    [Checkpoint.DRY_TEST, Checkpoint.WET_TEST, Checkpoint.FINAL_TEST, Checkpoint.RELEASE]
)
BACK = st.sampled_from([0, 0, 0, 0, 1, 5, 30, 400])
"""Minutes by which something is dated back."""
TOO_MANY = 9
"""Checks that nobody makes again in one step of a life."""
CHECKS = st.sampled_from(["D-02", "D-10", "D-14", "D-19", "W-03", "W-07", "W-15"])
IN_ORDER = (Checkpoint.INCOMING, Checkpoint.DRY_TEST, Checkpoint.WET_TEST)
MATTER_STATES = {
    MatterKind.NONCONFORMANCE: list(NonconformanceState),
    MatterKind.WAIVER: list(WaiverState),
    MatterKind.BYPASS: [BypassState.REMOVED],
    MatterKind.LOCKOUT: [LockoutState.REMOVED],
}


class FloorLife(RuleBasedStateMachine):
    """Anything anybody may try on a head of the full process; refusals are part of life."""

    stages: Stages

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.tags = 1
        self.done: list[str] = []
        self.open_locks: set[str] = set()
        self.bridges: set[str] = set()

    @initialize(stage=st.sampled_from(["built", "dry made", "wet", "wet", "wet", "wet"]))
    def begin(self, stage: str) -> None:
        """Begin where a head was built, tested dry, or tested wet."""
        path = self.folder / "ledger.db"
        shutil.copy(self.stages.file(stage), path)
        self.ledger = open_ledger(f"sqlite:///{path}", at=START)
        self.floor = Floor(self.ledger)
        add_expired_instruments(self.floor)
        if stage == "wet":
            self.configure_and_open("as built")

    def teardown(self) -> None:
        """Walk the trail, close the ledger, remove its file."""
        if hasattr(self, "ledger"):
            with self.ledger.reading() as records:
                assert records.verify_audit().broken is None
            assert breaches(self.floor.file()) == ()
            self.ledger.close()
        shutil.rmtree(self.folder)

    def attempt(self, who: str, act: Callable[[Records], Any]) -> Any:
        """Try something; say None when it is refused."""
        try:
            return self.floor.do(who, act)
        except SpinproofError:
            return None

    @rule(
        code=CODES,
        who=PEOPLE,
        provenance=st.sampled_from(Provenance),
        papers=st.booleans(),
        unlocked=st.sampled_from([False, False, True]),
    )
    def exchange_a_part(
        self, code: str, who: str, provenance: Provenance, *, papers: bool, unlocked: bool
    ) -> None:
        """Exchange a part, perhaps without a lockout."""
        self.tags += 1
        tag = new_tag(HEAD, code, self.tags)
        lock = None if unlocked else self.lock(who)
        self.attempt(who, lambda r: r.add_part("QA-1041", code, Piece(tag, code), provenance))
        for paper in Paper if papers else ():
            held = HeldPaper(tag=tag, paper=paper)
            self.attempt(who, lambda r, h=held: r.state_fact(h, unit=HEAD))
        self.attempt(who, lambda r: r.replace_part(HEAD, code, tag, Deed(f"{code} exchanged")))
        if lock is not None:
            self.unlock(lock, who)

    @rule(code=CODES, who=PEOPLE, back=st.booleans(), minutes=BACK)
    def take_a_part_out(self, code: str, who: str, minutes: int, *, back: bool) -> None:
        """Take a part out, perhaps dated back, and perhaps put it in again."""
        lock = self.lock(who)
        at = self.floor.clock.now - timedelta(minutes=minutes)
        taken = self.attempt(who, lambda r: r.remove_part(HEAD, code, Deed("out", done_at=at)))
        if taken is not None and back:
            self.attempt(who, lambda r: r.move_part(taken.tag, PartState.CLEANING, Deed("wash")))
            self.attempt(who, lambda r: r.install_part(HEAD, code, taken.tag, Deed("in")))
        elif taken is not None:
            self.attempt(who, lambda r: r.leave_empty(HEAD, code, Deed("none there")))
        if lock is not None:
            self.unlock(lock, who)

    @rule(code=st.sampled_from(["VDI", "SDR"]), tag=st.sampled_from(["VDI", "RTR", "SDR"]))
    def put_a_part_where_another_sits(self, code: str, tag: str) -> None:
        """Try to be in two places at once."""
        unit = SHARED if code == "SDR" else HEAD
        known = new_tag(SHARED if tag == "SDR" else HEAD, tag, 1)
        self.attempt("AS-2", lambda r: r.install_part(unit, code, known, Deed("x")))

    def lock(self, who: str) -> str | None:
        """Lock the head; give the name of the lock, or None when it is refused."""
        content = Lockout(where="bowl", locked=tuple(Energy), verification="0 V")
        entry = self.attempt(who, lambda r: r.open_matter("QA-1041", content, unit=HEAD))
        if entry is None:
            return None
        self.open_locks.add(entry.name)
        return entry.name

    def unlock(self, name: str, who: str) -> None:
        """Take a lock off."""
        removed = LockoutState.REMOVED
        if self.attempt(who, lambda r: r.step_matter(name, removed, Deed("done"))) is not None:
            self.open_locks.discard(name)

    @rule(who=PEOPLE)
    def leave_a_lock_on(self, who: str) -> None:
        """Lock the head and go home."""
        self.lock(who)

    @rule(who=PEOPLE)
    def bridge_an_interlock(self, who: str) -> None:
        """Bridge the door switch."""
        content = Bypass(interlock="door switch", why="film")
        entry = self.attempt(who, lambda r: r.open_matter("QA-1041", content, unit=HEAD))
        if entry is not None:
            self.bridges.add(entry.name)

    @rule(who=PEOPLE, severity=st.sampled_from(Severity))
    def raise_a_nonconformance(self, who: str, severity: Severity) -> None:
        """Find something that does not conform."""
        content = Nonconformance(text="seat nicked", severity=severity)
        self.attempt(who, lambda r: r.open_matter("QA-1041", content, unit=HEAD))

    @rule(who=PEOPLE, subject=st.sampled_from(["D-14", "W-15", "dry test", "QA-1041-NCR-01"]))
    def ask_for_a_waiver(self, who: str, subject: str) -> None:
        """Ask for a waiver."""
        content = Waiver(subject=subject, why="no tool", risk="it may creep")
        self.attempt(who, lambda r: r.open_matter("QA-1041", content, unit=HEAD))

    @rule(who=PEOPLE, pick=st.integers(0, 30), which=st.integers(0, 6))
    def step_a_matter(self, who: str, pick: int, which: int) -> None:
        """Take some matter some step further."""
        with self.ledger.reading() as records:
            matters = [m for m in records.matters("QA-1041") if m.kind in MATTER_STATES]
        if not matters:
            return
        matter = matters[pick % len(matters)]
        states = MATTER_STATES[matter.kind]
        state = states[which % len(states)]
        detail = StepDetail(disposition=Disposition.REWORK, cause="bead", token=f"letter {which}")
        act = Deed("so be it")
        if self.attempt(who, lambda r: r.step_matter(matter.name, state, act, detail)) is not None:
            self.open_locks.discard(matter.name)
            self.bridges.discard(matter.name)

    @rule(check=CHECKS, who=PEOPLE, good=st.integers(0, 4), minutes=BACK)
    def make_a_check(self, check: str, who: str, good: int, minutes: int) -> None:
        """Make a check; now and then it fails, or is read past a due date."""
        template = RULES.check(check)
        lock = self.lock(who) if template.lockout else None
        held = [i.sha256 for i in self.floor.file().evidence if i.name.startswith(check)]

        def act(records: Records) -> None:
            for reading in template.readings:
                answer = good_answer(reading)
                if good == 0 and answer.yes:
                    answer = Answered(reading.name, yes=False)
                if good == 1 and answer.instrument:
                    answer = replace(answer, instrument=answer.instrument.replace(" 1", " 2"))
                at = self.floor.clock.now - timedelta(minutes=minutes)
                records.answer_reading(HEAD, check, answer, Deed("again", done_at=at))
            records.finish_check(HEAD, check, Deed("finished", tuple(held)))

        self.attempt(who, act)
        if lock is not None:
            self.unlock(lock, who)

    @rule(point=POINTS, who=PEOPLE, second=PEOPLE, minutes=BACK)
    def sign_a_gate(self, point: Checkpoint, who: str, second: str, minutes: int) -> None:
        """Sign a gate, perhaps both times by the same person, perhaps dated back."""
        dated = self.floor.clock.now - timedelta(minutes=minutes)
        performed, verified = Meaning.PERFORMED, Meaning.VERIFIED
        self.attempt(who, lambda r: r.sign_gate(HEAD, point, performed, dated=dated))
        self.attempt(second, lambda r: r.sign_gate(HEAD, point, verified))
        self.attempt(who, lambda r: r.sign_gate(OTHER, point, performed))

    @rule(upper=st.floats(0.01, 5))
    def agree_on_a_limit(self, upper: float) -> None:
        """Agree on another limit."""
        name = "largest bonding resistance"
        limit = Limit(metric=name, upper=upper, unit="Ohm", basis=Basis.CUSTOMER, source="letter")
        fact = AgreedLimit(check="D-02", reading=name, limit=limit, approved_by="letter")
        self.attempt("QI-2", lambda r: r.state_fact(fact, unit=HEAD))

    @rule(found=st.sampled_from([Tolerance.IN, Tolerance.OUT]))
    def check_an_instrument(self, found: Tolerance) -> None:
        """Compare an instrument with a better one."""
        event = InterimCheck(at=date(2031, 5, 6), found=found)
        self.attempt("QI-2", lambda r: r.add_calibration("dial gauge 1", event))

    @rule(cleared=st.sampled_from([True, True, True, False]))
    def decide_on_residue(self, *, cleared: bool) -> None:
        """State anew whether the head is cleared."""
        fact = Decontamination(
            direction=Direction.INCOMING, cleared=cleared, none_known_by="RT-1", method="strip"
        )
        self.attempt("RT-1", lambda r: r.state_fact(fact, unit=HEAD))

    @rule(
        item=st.sampled_from(["SC-13", "SC-20", "SC-25"]),
        state=st.sampled_from(ScopeState),
        text=st.sampled_from(["as agreed", None]),
    )
    def change_the_scope(self, item: str, state: ScopeState, text: str | None) -> None:
        """Change a line of the scope, perhaps with words that promise."""
        self.attempt(
            "SE-1",
            lambda r: r.change_scope("QA-1041", item, state, "so", text or "fully restored"),
        )

    def configure_and_open(self, what: str) -> None:
        """Record what the head is made of, and begin to count."""
        names = {place.code: place.name for place in self.floor.file().positions}

        def act(records: Records) -> None:
            held = records.parts_by_position(HEAD).items()
            configuration = {
                "head": HEAD,
                "revision": 1,
                "what": what,
                "firmware": "4.2",
                "parts": {names[code]: tag for code, tag in held},
                "settings": {"tach gap": what},
            }
            records.set_configuration(HEAD, {"configuration": configuration}, what)

        self.attempt("AS-2", act)
        self.attempt("TT-1", lambda r: r.open_campaign(HEAD, PLAN))

    @rule(gap=st.integers(70, 73))
    def set_the_head_anew(self, gap: int) -> None:
        """Change a setting, and try to go on counting."""
        self.configure_and_open(f"0.{gap} mm")

    @rule(
        outcome=st.sampled_from([Outcome.COUNTED] * 4 + [Outcome.RELEVANT_FAILURE]),
        purpose=st.sampled_from([Purpose.BURN_IN] * 4 + [Purpose.TRIAL, Purpose.WITNESS]),
        lost=st.sampled_from([0, 0, 0, 1]),
    )
    def make_a_run(self, outcome: Outcome, purpose: Purpose, lost: int) -> None:
        """Make a run; now and then a wafer breaks."""

        def act(records: Records) -> None:
            planned = records.next_planned(HEAD) if purpose is Purpose.BURN_IN else None
            run = records.start_run(
                HEAD,
                purpose=purpose,
                recipe=planned.recipe if planned else CR_1,
                load=planned.load if planned else PARTIAL_LOAD,
                spec=LOWER,
                planned=planned.number if planned else None,
            )
            run = records.finish_run(run.name, Ending.COMPLETE, sha256_of_bytes(run.name.encode()))
            records.add_judgement(run.name, judged(run, outcome), LIMITS)
            whole = max(run.wafer_count - lost, 0)
            records.state_fact(Unloading(run=run.name, whole=whole), unit=HEAD)
            self.done.append(run.name)

        counting = purpose is Purpose.BURN_IN
        for _ in range(2):
            against = faults_of_a_start(self.floor.file(), counting=counting)
            before = len(self.done)
            self.attempt("TT-1", act)
            if len(self.done) > before:
                assert against == []

    @rule(who=PEOPLE)
    def put_everything_in_order(self, who: str) -> None:
        """Take locks and bridges off, close what is open, test again, sign, begin to count."""
        for name in sorted(self.open_locks | self.bridges):
            removed = LockoutState.REMOVED if "LCK" in name else BypassState.REMOVED
            if self.attempt(who, lambda r, n=name, s=removed: r.step_matter(n, s, Deed("off"))):
                self.open_locks.discard(name)
                self.bridges.discard(name)
        for matter in self.floor.file().of_kind(MatterKind.NONCONFORMANCE):
            self.close(matter.name)
        file = self.floor.file()
        checks = [c for point in IN_ORDER for c in required_checks(file, point)]
        if len([c for c in checks if not standing_of(file, c.id).stands]) > TOO_MANY:
            return
        try:
            for point in IN_ORDER:
                if gate_signature(self.floor.file(), point) is None:
                    self.floor.make_all(point)
                    self.floor.sign(point)
        except (SpinproofError, AssertionError, StopIteration):
            return
        self.configure_and_open("in order")

    def close(self, name: str) -> None:
        """Walk a nonconformance to its end."""
        detail = StepDetail(disposition=Disposition.REWORK, cause="bead")
        for who, state in zip(
            ("TT-1", "QI-2", "AS-2", "OW-1", "QI-2"), list(NonconformanceState)[1:], strict=True
        ):
            self.attempt(who, lambda r, s=state: r.step_matter(name, s, Deed("done"), detail))

    @rule(closing=st.sampled_from(Closing))
    def close_the_campaign(self, closing: Closing) -> None:
        """Close the campaign in some way."""
        self.attempt("TT-1", lambda r: r.close_campaign(HEAD, closing, "so be it"))

    @invariant()
    def the_plain_records_hold_no_fault(self) -> None:
        """Work out from the plain records, by no rule, that nothing is wrong."""
        if hasattr(self, "floor"):
            assert faults(self.floor.file()) == []

    @invariant()
    def nothing_is_claimed_of_the_head_out_of_scope(self) -> None:
        """Look for signatures and runs of the head that the customer declined."""
        if not hasattr(self, "ledger"):
            return
        with self.ledger.reading() as records:
            assert records.signatures(OTHER) == ()
            assert all(not run.name.startswith("QA-1041-U") for run in records.runs())

    @invariant()
    def a_standing_gate_rests_on_what_was_made_after_the_last_change(self) -> None:
        """Work out by the matrix alone that nothing was changed since the tests of a gate."""
        if not hasattr(self, "floor"):
            return
        file = self.floor.file()
        for point in (Checkpoint.DRY_TEST, Checkpoint.WET_TEST):
            signature = gate_signature(file, point)
            if signature is None:
                continue
            results = {f"result {c.id}": c for c in file.checks}
            for check, which in signature.covered:
                if which not in results:
                    continue
                assert results[which].passed
                used = [m for m in file.measurements if m.id in results[which].measurements]
                tested = min(m.done_at for m in used)
                later = [c.change for c in file.changes if c.done_at >= tested]
                assert check not in checks_to_repeat(RULES.matrix, later, RULES.sheets).checks
                assert signature.who not in {results[which].who, *(m.who for m in used)}
                assert results[which].done_at <= signature.done_at


def test_another_limit_of_a_test_closes_the_campaign(stages: Stages):
    FloorLife.stages = stages
    life = FloorLife()
    life.begin("wet")

    with life.floor.ledger.reading() as records:
        before = records.configurations(HEAD)[-1].fingerprint
    life.agree_on_a_limit(2.0)

    last = life.floor.file().campaigns[-1]
    with life.floor.ledger.reading() as records:
        after = records.configurations(HEAD)
    life.teardown()
    assert last.closing is Closing.CONFIGURATION
    assert after[-1].fingerprint != before
    assert "Limit of" in after[-1].what


def test_no_life_of_a_head_leads_where_a_rule_is_broken(stages: Stages):
    FloorLife.stages = stages
    for stage in ("built", "dry made", "wet"):
        stages.file(stage)
    run_state_machine_as_test(
        FloorLife,
        settings=settings(
            max_examples=6, stateful_step_count=16, deadline=None, phases=[Phase.generate]
        ),
    )
