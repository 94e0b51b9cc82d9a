"""The demo job as a handover built by hand: 79 attempts on the lower head, and the witnessed run.

Everything here is invented.
"""

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric import ec
from tests.dossier.invented_runs import (
    GOOD,
    NCR,
    NO_INDEX,
    STOP_PRESSED,
    SUPPLY_LOG,
    WATER_DIP,
    WITNESS,
    fill_recipe,
    inputs,
    make_record,
)

from spinproof.dossier.key_list import KeyList, ListedKey, SigningKeys, make_list
from spinproof.dossier.keys import ReleaseKey, create_key
from spinproof.dossier.package import write_package
from spinproof.dossier.soundness import all_records
from spinproof.dossier.trail import (
    HEAD_FILE,
    PROOFS_FILE,
    EarlierHead,
    RunRow,
    SignedTrailHead,
    TrailHead,
    TrailProofs,
)
from spinproof.files.canonical import canonical_json, digest_of
from spinproof.files.digest import sha256_of_bytes
from spinproof.files.signing import public_pem, sign
from spinproof.files.tree import consistency_proof, inclusion_proof, leaf_hash, root_of
from spinproof.model.handover import (
    Claim,
    ConfigurationEntry,
    EvidenceItem,
    Handover,
    RunRecord,
    ScopeLine,
    ScopeState,
    Tally,
)
from spinproof.model.head import HeadSpec
from spinproof.model.limit import LimitSet
from spinproof.model.load import Load, spread_slots
from spinproof.model.plan import Cell, Plan, PlannedRun
from spinproof.model.recipe import Recipe
from spinproof.model.software import SOFTWARE
from spinproof.stats.demonstration import reliability_lower_bound

KEY_MADE_AT = datetime(2031, 3, 1, tzinfo=UTC)
PASSPHRASE = "four words of the invented shop"  # noqa: S105 - opens keys of tests
ROOT = ec.derive_private_key(2031, ec.SECP256R1())
"""The root key of the invented shop."""


@dataclass(frozen=True)
class Example:
    """A handover, and the files that belong to it."""

    handover: Handover
    head: HeadSpec
    limits: LimitSet
    traces: dict[str, bytes]
    evidence: dict[str, bytes]

    def write_traces(self, folder: Path) -> dict[str, Path]:
        """Write the trace files and give their paths by run."""
        folder.mkdir(parents=True, exist_ok=True)
        for run, data in self.traces.items():
            (folder / f"{run}.parquet").write_bytes(data)
        return {run: folder / f"{run}.parquet" for run in self.traces}

    def write_evidence(self, folder: Path) -> dict[str, Path]:
        """Write the evidence files and give their paths by SHA-256."""
        folder.mkdir(parents=True, exist_ok=True)
        for sha256, data in self.evidence.items():
            (folder / sha256).write_bytes(data)
        return {sha256: folder / sha256 for sha256 in self.evidence}


def scope() -> tuple[ScopeLine, ...]:
    """Give the scope of the demo job: 6 lines declined, 2 supplied by the customer."""
    lower, shared, upper = "QM-207-L", "QM-207-S", "QM-207-U"
    accepted = (
        (lower, "bowl electropolish"),
        (lower, "rotor electropolish and balance"),
        (lower, "main bearing and shaft seal"),
        (lower, "door seal"),
        (lower, "tach sensor and bracket"),
        (lower, "rinse valve"),
        (lower, "nitrogen heater check"),
        (shared, "drain trap"),
        (shared, "breaker"),
    )
    declined = (
        (lower, "window replacement", "the crazed window stays; the view of the rotor is reduced"),
        (lower, "ion-module replacement", "static charge after drying was not measured"),
        (lower, "cover repaint", "scratches stay"),
        (shared, "frame repaint", "corrosion under the paint was not looked for"),
        (shared, "exhaust valve", "the exhaust flow was not set"),
        (
            upper,
            "upper head, all work",
            "safety observation: door switch channel 2 is welded; do not energise this head",
        ),
    )
    supplied = ((lower, "cassette"), (lower, "nitrogen regulator"))
    rows = [(u, t, ScopeState.ACCEPTED, None) for u, t in accepted]
    rows += [(u, t, ScopeState.DECLINED, c) for u, t, c in declined]
    rows += [(u, t, ScopeState.CUSTOMER_SUPPLIED, None) for u, t in supplied]
    return tuple(ScopeLine(f"SC-{i:02d}", u, t, s, c) for i, (u, t, s, c) in enumerate(rows, 1))


def make_plan(customer: Recipe) -> Plan:
    """Give a plan of 54 runs."""
    head, _, _, _ = inputs()
    runs = []
    for number in range(1, 55):
        own = number % 10 == 1
        load = Load(name="witness load", slots=spread_slots(13, 25), wafer_mass_g=53.05)
        recipe = customer if own else fill_recipe(number)
        cell = Cell.CUSTOMER if own else Cell.CORNER if number % 10 == 2 else Cell.FILL
        runs.append(PlannedRun(number=number, cell=cell, recipe=recipe, load=load))
    return Plan(
        name="QA-1041 burn-in",
        head=head.designation,
        head_sha256=digest_of(head.to_document()),
        seed=1041,
        software=SOFTWARE,
        feasible_share=0.62,
        runs=tuple(runs),
        reliability_if_clean=0.9460,
        restart_rule="a change of configuration or a relevant failure closes the campaign;"
        " its counted runs become void",
    )


@cache
def example() -> Example:
    """Build the whole example."""
    head, limits, customer, witness_load = inputs()
    plan = make_plan(customer)
    stories = [GOOD] * 22 + [NO_INDEX] + [GOOD] * 18 + [WATER_DIP] + [GOOD] * 21 + [STOP_PRESSED]
    stories += [GOOD] * 15
    records, traces, place = [], {}, 0
    for number, story in enumerate(stories, 1):
        place = 0 if number == 24 else place
        planned = plan.runs[place]
        campaign = 1 if number <= 23 else 2
        record, trace = make_record(number, campaign, planned.recipe, planned.load, story)
        place += story is GOOD
        records.append(record)
        traces[record.attempt.run] = trace
    witness, trace = make_record(80, 2, customer, witness_load, WITNESS)
    traces[witness.attempt.run] = trace
    evidence = {sha256_of_bytes(data): data for data in (SUPPLY_LOG, NCR)}
    return Example(_handover(plan, records, witness), head, limits, traces, evidence)


@cache
def small_example() -> Example:
    """Build the smallest example: one planned run, and it counted."""
    whole = example()
    record = whole.handover.runs[23]
    handover = replace(
        whole.handover,
        plan=whole.handover.plan.model_copy(update={"runs": whole.handover.plan.runs[:1]}),
        attempts=(record.attempt,),
        runs=(record,),
        witness=None,
        evidence=(),
        configurations=whole.handover.configurations[1:],
        tally=Tally(attempts=1, counted=1, void=0, relevant_failures=0, invalid=0, aborted=0),
        claims=(Claim(1, 0, 0.95, reliability_lower_bound(1, 0, 0.95), "1 of 1"),),
    )
    traces = {record.attempt.run: whole.traces[record.attempt.run]}
    return Example(handover, whole.head, whole.limits, traces, {})


def _handover(plan: Plan, records: list[RunRecord], witness: RunRecord) -> Handover:
    first, second = sha256_of_bytes(b"configuration 1"), sha256_of_bytes(b"configuration 2")
    return Handover(
        job="QA-1041",
        order="PO 40-7716Q",
        shop="Quillmere Spindle & Bowl Works",
        machine="QM-207",
        head="QM-207-L",
        head_in_words="lower head of two, on-axis, 200 mm, 25 slots",
        other_heads=("QM-207-U",),
        issued_at="2031-03-24T10:00:00.000Z",
        software=SOFTWARE,
        simulated=True,
        scope=scope(),
        configurations=(
            ConfigurationEntry(first, "2031-03-19T07:40:00.000Z", "as built after the dry test"),
            ConfigurationEntry(
                second,
                "2031-03-20T07:15:00.000Z",
                "tach sensor set from 1.90 mm back to 0.80 mm, lock-nut torque recorded,"
                " after the failure in attempt 23",
            ),
        ),
        plan=plan,
        attempts=tuple(r.attempt for r in records),
        tally=Tally(attempts=79, counted=54, void=22, relevant_failures=1, invalid=2, aborted=0),
        claims=(
            Claim(54, 0, 0.95, 0.05 ** (1 / 54), "54 of 54"),
            Claim(77, 1, 0.95, reliability_lower_bound(77, 1, 0.95), "pooled, 1 failure in 77"),
        ),
        runs=tuple(records),
        witness=witness,
        evidence=(
            EvidenceItem(
                sha256_of_bytes(SUPPLY_LOG),
                "supply-log.csv",
                "water pressure of the supply, day 20",
                "TT-1",
                "2031-03-20T15:00:00.000Z",
            ),
            EvidenceItem(
                sha256_of_bytes(NCR),
                "ncr-01.txt",
                "record of the tach gap and of its correction",
                "AS-2",
                "2031-03-19T16:20:00.000Z",
            ),
        ),
        audit_entries=412,
        audit_head=sha256_of_bytes(b"audit"),
        limits_name="QA-1041 run limits",
        instruments=(
            ("OT-3", "speed, optical", "calibrated, due 2031-03-31"),
            (
                "VB-2",
                "vibration",
                "calibrated, due 2031-02-28: ended before the runs, an indication only",
            ),
            ("RC-7", "drain resistivity", "calibrated, due 2031-04-30"),
            ("PT-11", "seal pressure", "calibrated, due 2031-06-30"),
            ("TC-9", "nitrogen temperature", "calibrated, due 2031-06-30"),
        ),
    )


def write_example(chosen: Example, folder: Path) -> tuple[Path, ReleaseKey]:
    """Write the package of an example with a new key, both below a folder."""
    key = create_key(folder / "keys", chosen.handover.shop, KEY_MADE_AT, PASSPHRASE)
    return write_with(chosen, folder, key), key


def write_with(chosen: Example, folder: Path, key: ReleaseKey) -> Path:
    """Write the package of an example with some key."""
    return write_package(
        chosen.handover,
        traces=chosen.write_traces(folder / "traces"),
        inputs=(chosen.head, chosen.limits),
        evidence=chosen.write_evidence(folder / "evidence"),
        keys=listed(key, chosen.handover.shop),
        trail=trail_of(chosen),
        folder=folder / "packages",
    )


def trail_of(chosen: Example) -> dict[str, bytes]:
    """Make an invented audit trail with a row for each run, its signed head and its proofs."""
    runs = [record.attempt.run for record in all_records(chosen.handover)]
    leaves = [leaf_hash(f"row {i}".encode()) for i in range(3 * len(runs))]
    rows = [3 * i for i in range(len(runs))]
    head = TrailHead(log="0" * 16, root=root_of(leaves).hex(), size=len(leaves))
    signed = SignedTrailHead(
        head=head,
        at=chosen.handover.issued_at,
        software="spinproof",
        public_key=public_pem(ROOT),
        signature=sign(ROOT, canonical_json(head.to_document())).hex(),
    )
    proofs = TrailProofs(
        size=len(leaves),
        earlier=(
            EarlierHead(
                size=2,
                root=root_of(leaves[:2]).hex(),
                at="2031-03-01T08:00:00.000Z",
                proof=tuple(node.hex() for node in consistency_proof(leaves, 2)),
            ),
        ),
        runs=tuple(
            RunRow(
                run=run,
                row=row + 1,
                leaf=leaves[row].hex(),
                proof=tuple(node.hex() for node in inclusion_proof(leaves, row)),
            )
            for run, row in zip(runs, rows, strict=True)
        ),
    )
    return {
        HEAD_FILE: canonical_json(signed.to_document()),
        PROOFS_FILE: canonical_json(proofs.to_document()),
    }


def listed(key: ReleaseKey, shop: str = "a shop") -> SigningKeys:
    """Give a release key with a list that names it alone."""
    return SigningKeys(key, listing(key, shop))


def listing(key: ReleaseKey, shop: str = "a shop") -> KeyList:
    """Sign a list that names one release key, with a root key of its own."""
    named = (ListedKey(fingerprint=key.fingerprint),)
    return make_list(ROOT, shop, 1, named, "2031-03-02T07:00:00.000Z")
