"""The invented jobs of the demo as data: what is taken in, refused, counted and released."""

import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from tests.demo_files import CR_1, LIMITS, LOWER, LOWER_CHANNELS, PARTIAL_LOAD
from tests.ledger.cases import judged
from tests.ledger.floor import HEAD, OTHER, RULES, START, Floor, new_tag

from spinproof.app.claims import claims_of
from spinproof.dossier.statements import claim_in_words
from spinproof.files.canonical import digest_of
from spinproof.files.digest import sha256_of_bytes
from spinproof.ledger.entries import Closing, RunEntry
from spinproof.ledger.gating import reasons_against, state_in_words
from spinproof.ledger.ledger import Ledger, open_ledger
from spinproof.ledger.loading import balance_decisions, load_facts
from spinproof.ledger.records import Records
from spinproof.ledger.rulebook.identity import exclusions, without_warranty
from spinproof.ledger.shop_entries import Action, Deed, Meaning, Piece
from spinproof.ledger.standing import present_checkpoint
from spinproof.ledger.states import ChangeOrderState, NonconformanceState
from spinproof.model.attestation import (
    Acknowledgement,
    Balance,
    Decontamination,
    Direction,
    DossierIssued,
    Film,
    Plane,
    Shipment,
    Unloading,
)
from spinproof.model.check import Checkpoint
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.handover import ScopeState
from spinproof.model.head import HeadSpec
from spinproof.model.instrument import Calibration, InstrumentKind, InstrumentRecord
from spinproof.model.job import JobFile
from spinproof.model.judgement import Metric, Verdict
from spinproof.model.limit import DecisionRule, LimitSet
from spinproof.model.load import Load
from spinproof.model.matter import ChangeOrder, MatterKind, StepDetail
from spinproof.model.part import Disposition, Provenance
from spinproof.model.plan import Cell, Plan, PlannedRun
from spinproof.model.recipe import Recipe
from spinproof.model.run import Ending, Outcome, Purpose
from spinproof.plan.planning import make_plan

JOB = "QA-1041"
PLAN = make_plan("burn-in", LOWER, (CR_1,), 2, 1, 4, 7, PARTIAL_LOAD)
FINAL = Checkpoint.FINAL_TEST
WITNESS = Checkpoint.SOURCE_INSPECTION
REFERENCE = "OT-3"


def sentences(floor: Floor, step) -> str:
    return " ".join(str(reason) for reason in reasons_against(floor.file(), step))


def configure(floor: Floor, gap: str = "0.80 mm", what: str = "as built") -> None:
    """Record the head's configuration with the parts that are in it."""
    names = {place.code: place.name for place in floor.file().positions}
    channels = LOWER_CHANNELS.to_document()
    channels["channels"] = [c for c in channels["channels"] if c["instrument"]["name"] == REFERENCE]

    def act(records: Records) -> None:
        parts = {names[code]: tag for code, tag in records.parts_by_position(HEAD).items()}
        configuration = {
            "head": HEAD,
            "revision": 1,
            "what": what,
            "firmware": "4.2",
            "parts": parts,
            "settings": {"tach gap": gap},
        }
        document = {"configuration": configuration, "channels": channels}
        records.set_configuration(HEAD, document, what)

    floor.do("AS-2", act)


def attempt(
    floor: Floor, outcome: Outcome = Outcome.COUNTED, purpose: Purpose = Purpose.BURN_IN
) -> RunEntry:
    """Start, finish and judge a run, and say what came out."""

    def act(records: Records) -> RunEntry:
        planned = records.next_planned(HEAD) if purpose is Purpose.BURN_IN else None
        run = records.start_run(
            HEAD,
            purpose=purpose,
            recipe=planned.recipe if planned else CR_1,
            load=planned.load if planned else PARTIAL_LOAD,
            spec=LOWER,
            planned=planned.number if planned else None,
        )
        trace = sha256_of_bytes(run.name.encode())
        run = records.finish_run(run.name, Ending.COMPLETE, trace)
        records.add_judgement(run.name, judged(run, outcome), LIMITS)
        unloaded = Unloading(run=run.name, whole=run.wafer_count)
        records.state_fact(unloaded, unit=HEAD)
        return records.run(run.name)

    return floor.do("TT-1", act)


@pytest.fixture
def lower(wet_floor: Floor) -> Floor:
    """Give the lower head before its burn-in, its order asking for four runs."""
    floor = wet_floor
    order = floor.do("SE-1", lambda r: r.open_matter(JOB, ChangeOrder(text="four runs")).name)
    accepted = ChangeOrderState.ACCEPTED
    letter = StepDetail(token=f"letter {1}")
    floor.do("SE-1", lambda r: r.step_matter(order, accepted, Deed("accepted"), letter))
    floor.do("SE-1", lambda r: r.require_runs(JOB, 4, order))
    reference = InstrumentRecord(
        id=REFERENCE,
        kind=InstrumentKind.OPTICAL_TACH,
        words="optical tach",
        calibrations=(Calibration(at=date(2030, 6, 1), due=date(2031, 6, 1), certificate="C-100"),),
    )
    floor.do("QI-2", lambda r: r.add_instrument(reference))
    configure(floor)
    return floor


def open_campaign(floor: Floor) -> None:
    floor.do("TT-1", lambda r: r.open_campaign(HEAD, PLAN))


def test_job_a_prints_six_exclusions_and_two_lines_without_warranty(lower: Floor):
    scope = lower.file().scope

    assert len(exclusions(scope)) == 6
    assert [line.unit for line in exclusions(scope)].count(HEAD) == 3
    assert [line.unit for line in exclusions(scope)].count(OTHER) == 1
    assert len(without_warranty(scope)) == 2
    with lower.ledger.reading() as records:
        printed = records.scope(JOB)
    assert [line.item for line in printed if line.state is ScopeState.DECLINED] == [
        line.item for line in exclusions(scope)
    ]


def test_job_a_fails_is_corrected_and_counts_again_from_zero(lower: Floor):
    open_campaign(lower)
    for _ in range(2):
        attempt(lower)
    attempt(lower, Outcome.RELEVANT_FAILURE)
    with pytest.raises(GateClosedError, match="relevant failure"):
        attempt(lower)
    configure(lower, "0.80 mm, lock-nut 2.5 N m", "Tach gap set, its lock-nut torqued.")

    assert present_checkpoint(lower.file()) is Checkpoint.DRY_TEST
    assert [s[:4] for s in sentences(lower, Checkpoint.DRY_TEST).split(" (R22) ")] == [
        "D-14",
        "D-19",
    ]
    with pytest.raises(GateClosedError, match="Not passed yet: dry test, wet test"):
        open_campaign(lower)
    lower.make_all(Checkpoint.DRY_TEST)
    lower.sign(Checkpoint.DRY_TEST)
    lower.make_all(Checkpoint.WET_TEST)
    lower.sign(Checkpoint.WET_TEST)
    made = [c.check for c in lower.file().checks]
    assert [made.count(c) for c in ("D-14", "D-19", "W-15", "W-16", "W-19", "W-20", "W-21")] == [
        2
    ] * 7
    assert made.count("W-03") == 1
    open_campaign(lower)
    attempt(lower, Outcome.INVALID_OPERATOR)
    for _ in range(4):
        attempt(lower)
    with lower.ledger.reading() as records:
        tally = records.tally(HEAD)
        assert records.verify_audit().broken is None
    assert str(tally) == ("attempts 8 = counted 4 + void 2 + relevant failure 1 + invalid 1")
    lower.sign(FINAL)
    assert state_in_words(lower.file()) == "burn-in passed"


@pytest.fixture
def burnt_in(lower: Floor) -> Floor:
    """Give the lower head with four counted runs."""
    open_campaign(lower)
    for _ in range(4):
        attempt(lower)
    return lower


def test_an_optical_tach_past_its_due_date_makes_the_speed_of_every_run_an_indication(
    burnt_in: Floor,
):
    floor = burnt_in
    expired = Calibration(at=date(2031, 1, 1), due=date(2031, 5, 5), certificate="C-101")
    floor.do("QI-2", lambda r: r.add_calibration(REFERENCE, expired))

    found = sentences(floor, FINAL)
    assert f"4 counted runs: optical tach by {REFERENCE}: indication only" in found
    assert "(R24)" in found
    with pytest.raises(GateClosedError, match="indication only"):
        floor.sign(FINAL)
    corrected = Calibration(at=date(2031, 5, 4), due=date(2032, 5, 4), certificate="C-102")
    floor.do("QI-2", lambda r: r.add_calibration(REFERENCE, corrected))
    floor.sign(FINAL)


def test_the_declined_head_cannot_be_set_to_passed(burnt_in: Floor):
    for point in (Checkpoint.INCOMING, FINAL, Checkpoint.RELEASE):
        with pytest.raises(GateClosedError, match="out of scope: nothing is run on it"):
            burnt_in.do("QI-2", lambda r, p=point: r.sign_gate(OTHER, p, Meaning.PERFORMED))


def test_a_run_whose_step_ended_early_cannot_be_counted_by_anybody(lower: Floor):
    open_campaign(lower)
    cut = attempt(lower, Outcome.INVALID_OPERATOR)
    with pytest.raises(GateClosedError, match="nobody counts a run"):
        lower.do("QI-2", lambda r: r.classify(cut.name, Outcome.COUNTED, reasons=("it was dry",)))


def test_limits_raised_after_the_run_do_not_count_it(lower: Floor):
    open_campaign(lower)
    failed = attempt(lower, Outcome.RELEVANT_FAILURE)
    document = LIMITS.to_document() | {"revision": LIMITS.revision + 1}
    raised = LimitSet.from_document(document)
    with pytest.raises(GateClosedError, match="set after the reading"):
        lower.do(
            "TT-1",
            lambda r: r.add_judgement(
                failed.name, judged(failed, Outcome.COUNTED, limits=raised), raised
            ),
        )


def test_a_door_released_out_of_order_is_a_failure_of_safety(lower: Floor):
    open_campaign(lower)

    def act(records: Records) -> None:
        planned = records.next_planned(HEAD)
        run = records.start_run(
            HEAD,
            purpose=Purpose.BURN_IN,
            recipe=planned.recipe,
            load=planned.load,
            spec=LOWER,
            planned=planned.number,
        )
        run = records.finish_run(run.name, Ending.COMPLETE, sha256_of_bytes(b"door"))
        order = Metric(name="door_order_breaches", unit="1", value=1.0, note="released at speed")
        seen = judged(run, Outcome.RELEVANT_FAILURE).model_copy(update={"metrics": (order,)})
        records.add_judgement(run.name, seen, LIMITS)

    lower.do("TT-1", act)
    asked = lower.file().of_kind(MatterKind.NONCONFORMANCE)
    assert asked[-1].content.text.startswith("Door released out of order in run QA-1041-L-001")
    assert "(R21)" in sentences(lower, FINAL)


def test_a_broken_wafer_stops_the_campaign_until_it_is_dealt_with(lower: Floor):
    open_campaign(lower)
    run = attempt(lower)
    broken = Unloading(run=run.name, whole=run.wafer_count - 1, broken=1)
    lower.do("TT-1", lambda r: r.state_fact(broken, unit=HEAD))
    with pytest.raises(GateClosedError, match="did not come out whole"):
        attempt(lower)
    asked = lower.file().of_kind(MatterKind.NONCONFORMANCE)[-1].name
    state = NonconformanceState
    detail = StepDetail(disposition=Disposition.REWORK, cause="cassette bar bent")
    for who, to in (
        ("TT-1", state.CONTAINED),
        ("QI-2", state.DISPOSITIONED),
        ("TT-1", state.ACTIONED),
        ("QI-2", state.VERIFIED),
        ("QI-2", state.CLOSED),
    ):
        lower.do(who, lambda r, s=to: r.step_matter(asked, s, Deed("done"), detail))
    attempt(lower)


def test_a_run_is_refused_while_somebody_may_have_hands_in_the_head(lower: Floor):
    open_campaign(lower)
    lock = lower.lock()
    with pytest.raises(GateClosedError, match="somebody may have hands in the head"):
        attempt(lower)
    lower.unlock(lock)
    attempt(lower)


def test_job_a_is_witnessed_released_and_shipped_in_that_order(burnt_in: Floor):
    floor = burnt_in
    with pytest.raises(GateClosedError, match="Not passed yet: final test"):
        attempt(floor, purpose=Purpose.WITNESS)
    floor.sign(FINAL)
    witness = attempt(floor, purpose=Purpose.WITNESS)
    floor.do("TT-1", lambda r: r.close_campaign(HEAD, Closing.COMPLETE, "every run counted"))
    floor.make_all(WITNESS)
    assert "is tied to no run" in sentences(floor, WITNESS)
    with floor.ledger.reading() as records:
        films = [i.sha256 for i in records.evidence(JOB) if i.name.startswith("S-")]
    for sha256 in films:
        film = Film(
            sha256=sha256,
            run=witness.name,
            started_at="2031-05-07T08:00:00.000Z",
            ended_at="2031-05-07T08:15:00.000Z",
            trace_sha256=witness.trace_sha256,
        )
        floor.state(film, who="PR-1")
    floor.sign(WITNESS, "PR-1")
    assert state_in_words(floor.file()) == "witnessed"

    release = Checkpoint.RELEASE
    assert "21 accepted lines of the scope have no evidence" in sentences(floor, release)
    proof = sha256_of_bytes(b"proof of the work")
    floor.do("QI-2", lambda r: r.add_evidence(JOB, proof, "work.pdf", "records of the work"))
    for line in floor.file().scope:
        if line.state is ScopeState.ACCEPTED:
            floor.do(
                "QI-2",
                lambda r, i=line.item: r.change_scope(
                    JOB, i, ScopeState.DONE, "done", evidence=(proof,)
                ),
            )
    floor.sign(release, "QI-2", "OW-1")
    assert state_in_words(floor.file()) == "released"

    assert "No dossier was issued." in sentences(floor, Action.SHIP)
    file = floor.file()
    tags = tuple(part.tag for parts in file.occupants.values() for part in parts)
    floor.state(DossierIssued(package="QA-1041", list_sha256="ab" * 32))
    items = tuple(line.item for line in exclusions(file.scope))
    told = Acknowledgement(token=f"letter {9}", exclusions=items)
    floor.do("SE-1", lambda r: r.state_fact(told, job=JOB))
    leaves = Decontamination(
        direction=Direction.OUTGOING,
        cleared=True,
        hazards=("Do not energise head QM-207-U: one channel of its door switch is welded.",),
        method="rinse, dry, purge",
    )
    floor.state(leaves)
    packed = Shipment(crate="K-1", tags=tags, drained="blown dry", restrained="rotor blocked")
    floor.state(packed, Deed("packed", (proof,)))
    assert sentences(floor, Action.SHIP) == ""


# --- job B: off-axis, two cassettes

OFF_AXIS = HeadSpec.from_document(
    LOWER.to_document()
    | {
        "designation": "QM-211-A",
        "machine": "QM-211",
        "axis": "off-axis",
        "wafer_diameter_mm": 150.0,
        "slots": 50,
        "cassettes": 2,
        "wafer_edge_radius_m": 0.225,
        "rotor_mass_kg": 21.5,
    }
)
RECIPE_B = Recipe.from_document(
    {
        "name": "CR-2",
        "source": "customer",
        "steps": [
            {
                "name": name,
                "kind": kind,
                "duration_s": seconds,
                "speed_rpm": rpm,
                "ramp_rpm_per_s": 50.0,
                "timer_basis": "from-command",
                "water": kind == "rinse",
            }
            for name, kind, seconds, rpm in (
                ("rinse", "rinse", 60.0, 250.0),
                ("purge", "purge", 20.0, 250.0),
                ("fast dry", "dry", 150.0, 1150.0),
                ("final dry", "dry", 240.0, 700.0),
            )
        ],
    }
)


def cassettes(first: int, second: int) -> Load:
    slots = (*range(1, first + 1), *range(26, 26 + second))
    return Load(name=f"{first} and {second}", slots=slots, wafer_mass_g=27.7809)


def test_job_b_a_missing_wafer_is_more_than_a_rotor_may_be_out_of_balance():
    """The numbers of the demo: 4167 g mm beside 1124.7 g mm at 1150 rpm, and 60.4 N."""
    odd = load_facts(cassettes(25, 24), OFF_AXIS, RECIPE_B)

    assert odd.unbalance_g_mm == pytest.approx(4167.1, abs=0.1)
    assert odd.limit_g_mm == pytest.approx(1124.74, abs=0.01)
    assert odd.unbalance_g_mm / odd.limit_g_mm == pytest.approx(3.70, abs=0.01)
    assert odd.force_n == pytest.approx(60.4, abs=0.1)
    assert load_facts(cassettes(25, 25), OFF_AXIS, RECIPE_B).unbalance_g_mm < 1e-6


JOB_B = JobFile.from_document(
    {
        "job": "QA-1042",
        "order": "PO 22-0953K",
        "shop": "Quillmere Spindle & Bowl Works",
        "machine": "QM-211",
        "process": "full",
        "required_runs": 59,
        "heads": [
            {
                "designation": "QM-211-A",
                "position": "A",
                "in_scope": True,
                "words": "150 mm, off-axis, two cassettes",
            }
        ],
        "scope": [
            {
                "item": "SC-01",
                "unit": "QM-211-A",
                "text": "refurbishment of the head",
                "state": "accepted",
            },
            {
                "item": "SC-02",
                "unit": "QM-211-A",
                "text": "nitrogen heater, refurbished from stock",
                "state": "accepted",
                "position": "NHT",
            },
            {
                "item": "SC-03",
                "unit": "QM-211-A",
                "text": "anti-static module",
                "state": "supplied by customer",
                "position": "ION",
                "consequence": "No shop warranty on this part.",
            },
        ],
    }
)
B = "QM-211-A"
PLAN_B = Plan(
    name="burn-in",
    head=B,
    head_sha256=digest_of(OFF_AXIS.to_document()),
    seed=7,
    software="by hand",
    feasible_share=1.0,
    runs=tuple(
        PlannedRun(number=n, cell=Cell.CUSTOMER, recipe=RECIPE_B, load=cassettes(25, 25))
        for n in range(1, 51)
    ),
    reliability_if_clean=0.05 ** (1 / 50),
    restart_rule="from zero after a change or a failure",
)


@pytest.fixture(scope="module")
def job_b_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the file of a ledger whose off-axis head has passed its wet test."""
    path = tmp_path_factory.mktemp("b") / "ledger.db"
    ledger = open_ledger(f"sqlite:///{path}", at=START)
    floor = Floor(ledger, B)
    floor.take_in(JOB_B)
    floor.up_to_build()
    floor.make_dry_test()
    floor.pass_dry_test()
    floor.pass_wet_test()
    ledger.close()
    return path


@pytest.fixture
def job_b(job_b_file: Path, tmp_path: Path) -> Iterator[Floor]:
    path = tmp_path / "b.db"
    path.write_bytes(job_b_file.read_bytes())
    ledger = open_ledger(f"sqlite:///{path}", at=START)
    yield Floor(ledger, B)
    ledger.close()


def run_b(floor: Floor, load: Load, planned: int | None, outcome: Outcome) -> RunEntry:
    def act(records: Records) -> RunEntry:
        run = records.start_run(
            B,
            purpose=Purpose.BURN_IN if planned else Purpose.TRIAL,
            recipe=PLAN_B.runs[planned - 1].recipe if planned else RECIPE_B,
            load=load,
            spec=OFF_AXIS,
            planned=planned,
        )
        run = records.finish_run(run.name, Ending.COMPLETE, sha256_of_bytes(run.name.encode()))
        records.add_judgement(run.name, judged(run, outcome), LIMITS)
        records.state_fact(Unloading(run=run.name, whole=run.wafer_count), unit=B)
        return records.run(run.name)

    return floor.do("TT-1", act)


def test_job_b_an_uneven_load_is_refused_before_the_start(job_b: Floor):
    with pytest.raises(GateClosedError, match=r"3\.70 times what is permissible") as caught:
        run_b(job_b, cassettes(25, 24), None, Outcome.COUNTED)
    assert "60.4 N" in caught.value.what
    assert "with a dummy in slot 50" in caught.value.what
    assert "R34" in caught.value.mend
    with job_b.ledger.reading() as records:
        assert records.runs(B) == ()
    mended = cassettes(25, 24).model_copy(update={"dummy_slots": (50,)})
    assert run_b(job_b, mended, None, Outcome.COUNTED).name == "QA-1042-A-001"


def test_job_b_is_blocked_until_its_order_asks_for_the_runs_that_were_made(job_b: Floor):
    """The contract asks for 59 counted runs, the shop has 50 of 51 attempts; CO-1 settles it."""
    document = {
        "configuration": {
            "head": B,
            "revision": 1,
            "what": "as built",
            "firmware": "4.2",
            "parts": {},
            "settings": {},
        }
    }
    names = {place.code: place.name for place in job_b.file().positions}

    def set_up(records: Records) -> None:
        document["configuration"]["parts"] = {
            names[code]: tag for code, tag in records.parts_by_position(B).items()
        }
        records.set_configuration(B, json.loads(json.dumps(document)), "as built")
        records.open_campaign(B, PLAN_B)

    job_b.do("AS-2", set_up)
    aborted = run_b(job_b, PLAN_B.runs[0].load, 1, Outcome.INVALID_OPERATOR)
    assert aborted.outcome is Outcome.INVALID_OPERATOR
    for planned in PLAN_B.runs:
        run_b(job_b, planned.load, planned.number, Outcome.COUNTED)

    assert "The order asks for 59 counted runs in a row; campaign 1 has 50. (R33)" in sentences(
        job_b, FINAL
    )
    with pytest.raises(GateClosedError, match="asks for 59 counted runs"):
        job_b.sign(FINAL)
    order = job_b.do(
        "SE-1", lambda r: r.open_matter("QA-1042", ChangeOrder(text="50 instead of 59")).name
    )
    assert order == "QA-1042-CO-01"
    accepted, letter = ChangeOrderState.ACCEPTED, StepDetail(token=f"letter {2}")
    job_b.do("SE-1", lambda r: r.step_matter(order, accepted, Deed("accepted"), letter))
    job_b.do("SE-1", lambda r: r.require_runs("QA-1042", 50, order))
    job_b.sign(FINAL)
    with job_b.ledger.reading() as records:
        attempts = records.attempts(B)
        assert str(records.tally(B)).startswith("attempts 51 = counted 50")
    (claim,) = claims_of(attempts)
    assert "94.18 %" in claim_in_words(claim)
    assert "95.00 %" not in claim_in_words(claim)


# --- job C: a spare rotor, balanced

ROTOR = new_tag("QA1043", "RTR", 1)
JOB_C = JobFile.from_document(
    {
        "job": "QA-1043",
        "order": "PO 61-4402T",
        "shop": "Quillmere Spindle & Bowl Works",
        "machine": "spare rotor of QA-1043",
        "process": "full",
        "spares": [{"designation": ROTOR, "words": "rotor, 11.8 kg"}],
        "scope": [
            {"item": "SC-01", "unit": ROTOR, "text": "balance in two planes", "state": "accepted"}
        ],
    }
)


def balance_c(limit: float, grade: str, rule: DecisionRule) -> Balance:
    return Balance(
        rotor=ROTOR,
        service_rpm=2200.0,
        grade=grade,
        planes=tuple(Plane(residual_g_mm=r, limit_g_mm=limit) for r in (38.0, 52.0)),
        standard_uncertainty_g_mm=7.5,
        rule=rule,
    )


def test_job_c_balances_a_rotor_and_says_that_no_head_was_tested(ledger: Ledger):
    floor = Floor(ledger, ROTOR)
    floor.do("RT-1", lambda r: r.add_job(JOB_C, RULES))
    came = Provenance.CUSTOMER_SUPPLIED
    floor.do("RT-1", lambda r: r.add_part("QA-1043", "RTR", Piece(ROTOR, "rotor"), came))
    floor.state(balance_c(161.3, "G 6.3", DecisionRule.GUARDED_BY_U), who="AS-2")

    assert len(floor.file().stated(Balance)) == 1
    assert sentences(floor, Checkpoint.DRY_TEST) == (
        f"{ROTOR} is a spare part: no head was tested."
    )
    with pytest.raises(RecordError, match="a spare part is no head"):
        floor.sign(Checkpoint.RELEASE)


def test_job_c_is_accepted_or_not_by_the_rule_that_prints():
    """The numbers of the demo: 52 + 15 = 67 beside 64.02 g mm, conforming with 0.9455."""
    coarse = balance_decisions(balance_c(161.3, "G 6.3", DecisionRule.GUARDED_BY_U))
    fine = balance_decisions(balance_c(64.02, "G 2.5", DecisionRule.GUARDED_BY_U))
    risk = balance_decisions(balance_c(64.02, "G 2.5", DecisionRule.BY_RISK))

    assert [d.verdict for d in coarse] == [Verdict.PASS, Verdict.PASS]
    assert [d.verdict for d in fine] == [Verdict.PASS, Verdict.UNDECIDED]
    assert fine[1].conformance == pytest.approx(0.9455, abs=1e-4)
    assert fine[1].rule.startswith("guarded by U = 2 u")
    assert risk[1].verdict is Verdict.UNDECIDED
    assert risk[1].rule.startswith("by risk")
