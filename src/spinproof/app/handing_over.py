"""Hand over: gather what the records support, write the signed package, verify one."""

from dataclasses import dataclass, replace
from pathlib import Path

from spinproof.app.claims import claims_of
from spinproof.app.clock import rfc3339, utc_now
from spinproof.app.curves import curves_of
from spinproof.app.evidence_desk import forbidden_words, shop_vault
from spinproof.app.home import Home
from spinproof.app.intake import HeadSetup, present_setup
from spinproof.app.shop_keys import signing_keys
from spinproof.app.trail_proofs import trail_files
from spinproof.dossier.package import write_package
from spinproof.dossier.verification import Verification, verify_package
from spinproof.dossier.zipped import unzipped, zip_package
from spinproof.evidence.release import refuse_leaks
from spinproof.figures.units import printed_unit
from spinproof.files.durable import storage_errors
from spinproof.ledger.entries import AuditCheck
from spinproof.ledger.gating import require_released
from spinproof.ledger.head_reading import HeadReading
from spinproof.ledger.heads import read_head
from spinproof.ledger.ledger import Ledger
from spinproof.model.channel import Channel
from spinproof.model.errors import GateClosedError
from spinproof.model.handover import Attempt, Handover, RunRecord, Tally
from spinproof.model.head import HeadSpec
from spinproof.model.limit import LimitSet
from spinproof.model.run import Purpose
from spinproof.model.software import SOFTWARE
from spinproof.record.trace_file import read_trace

POINTS_IN_FULL = 900
POINTS_IN_BRIEF = 240


@dataclass(frozen=True)
class Dossier:
    """A package that was written, and what verifies it."""

    path: Path
    fingerprint: str
    """SHA-256 of the shop's certificate; give it to the customer by another way."""
    tally: Tally
    searched: bool
    """Whether it was searched for words of customers; False when none is entered."""


def issue_dossier(home: Home, ledger: Ledger, head: str, passphrase: str | None = None) -> Dossier:
    """Write the signed package for a head.

    Parameters
    ----------
    home : Home
        The shop's folders; a first dossier makes the shop's key.
    ledger : Ledger
        The records.
    head : str
        Designation of the head.
    passphrase : str, optional
        The owner's, when the passphrase of the keys is not kept beside them.

    Returns
    -------
    Dossier
        Where the package lies, and the fingerprint that verifies it.

    Raises
    ------
    GateClosedError
        If the head has no plan, no attempt that could be reported, or, in the full process, no
        release that stands.
    PackageError
        If anything in it would tell who a customer is.
    RecordError
        If the shop enters its customers, and not the one of this job.
    VaultError
        If a passphrase of the keys is needed, or it is not the one.
    """
    with ledger.reading() as reading:
        require_released(reading.head_file(head, utc_now().date()))
        handover = replace(gather(home, reading, head), issue=_next_issue(home, reading, head))
        records = (*handover.runs, *([handover.witness] if handover.witness else []))
        inputs = _judged_from(reading, records)
        runs = [record.attempt.run for record in records]
        trail = trail_files(home, reading, runs, handover.issued_at)
    words = forbidden_words(shop_vault(home), handover.job) if home.vault.exists() else ()
    keys = signing_keys(home, handover.shop, passphrase)
    traces = {record.attempt.run: home.trace(record.judgement.trace_sha256) for record in records}
    evidence = {item.sha256: home.evidence / item.sha256 for item in handover.evidence}
    path = write_package(
        handover,
        traces=traces,
        inputs=inputs,
        evidence=evidence,
        keys=keys,
        trail=trail,
        folder=home.dossiers,
        last_look=lambda things: refuse_leaks(words, things, where=f"dossier of head {head}"),
    )
    return Dossier(path, keys.release.fingerprint, handover.tally, searched=bool(words))


def _next_issue(home: Home, reading: HeadReading, head: str) -> int:
    first = f"{reading.unit(head).job}-{head}"
    return 1 + sum(
        path.name == first or path.name.startswith(f"{first}-issue-")
        for path in home.dossiers.iterdir()
    )


def zip_dossier(path: Path, target: Path) -> None:
    """Write an issued package as one ZIP; PackageError when a file stands there already."""
    zip_package(path, target)


def verify(
    path: Path, fingerprint: str | None, keys: Path | None = None, held: str | None = None
) -> Verification:
    """Verify a package, a folder or a ZIP, offline.

    A fingerprint, the shop's newest list of release keys, and a head of its audit trail count when
    they came another way.

    Raises
    ------
    PackageError
        If the path is no package.
    RecordError
        If the text is no head of an audit trail.
    """
    head = None if held is None else read_head(held).head
    known = None if head is None else (head.size, head.root)
    newest = None
    if keys is not None:
        with storage_errors(keys):
            newest = keys.read_bytes()
    if not path.is_file():
        return verify_package(path, fingerprint, newest, known)
    with unzipped(path) as folder:
        return verify_package(folder, fingerprint, newest, known)


def gather(home: Home, reading: HeadReading, head: str) -> Handover:
    """Gather everything that a dossier of a head may say.

    Raises
    ------
    GateClosedError
        If the head has no plan, or no attempt that could be reported.
    """
    campaigns = reading.campaigns(head)
    attempts = reading.attempts(head)
    if not campaigns or not attempts:
        raise GateClosedError(
            "no burn-in run of the head is on record",
            where=f"head {head}",
            mend="A dossier reports runs: open a campaign and make them first.",
        )
    unit = reading.unit(head)
    job = reading.job(unit.job)
    setup = present_setup(reading, head)
    burn_in = tuple(a for a in attempts if a.purpose is Purpose.BURN_IN)
    witnessed = [a for a in attempts if a.purpose is Purpose.WITNESS]
    tally = reading.tally(head)
    runs = tuple(_run_record(home, reading, a, POINTS_IN_BRIEF) for a in burn_in if a.recorded)
    witness = _run_record(home, reading, witnessed[-1], POINTS_IN_FULL) if witnessed else None
    check = _sound_trail(reading, head)
    return Handover(
        job=job.name,
        order=job.order,
        shop=job.shop,
        machine=unit.machine,
        head=head,
        head_in_words=f"{unit.position} head, {unit.words}",
        other_heads=tuple(
            other.designation
            for other in reading.units(job.name)
            if other.kind == "head" and other.designation != head
        ),
        issued_at=rfc3339(utc_now()),
        software=SOFTWARE,
        simulated=any(record.judgement.simulated for record in runs),
        process_note=reading.terms(job.name).process.note,
        scope=reading.scope(job.name),
        configurations=reading.configurations(head),
        plan=reading.plan(campaigns[-1]),
        attempts=burn_in,
        tally=tally,
        claims=claims_of(burn_in),
        runs=runs,
        witness=witness,
        evidence=reading.evidence(job.name),
        audit_entries=check.entries,
        audit_head=check.head,
        limits_name=f"{setup.limits.name}, revision {setup.limits.revision}",
        instruments=_instruments(setup),
    )


def _sound_trail(reading: HeadReading, head: str) -> AuditCheck:
    """Check the audit trail.

    Raises
    ------
    GateClosedError
        If it does not hold: nothing leaves the house on records that contradict it.
    """
    check = reading.verify_audit()
    if check.broken is not None:
        raise GateClosedError(
            f"the records contradict their audit trail ({check.broken})",
            where=f"head {head}",
            mend="`spinproof doctor` names everything that does not hold; compare with a backup.",
        )
    return check


def _run_record(home: Home, reading: HeadReading, attempt: Attempt, points: int) -> RunRecord:
    judgement = reading.judgement(attempt.run)
    if judgement is None:
        raise GateClosedError(
            "the run was never judged",
            where=f"run {attempt.run}",
            mend="Judge it first; a dossier reports no run without its judgement.",
        )
    trace = read_trace(home.trace(judgement.trace_sha256))
    curves = curves_of(trace, points)
    return RunRecord(attempt, reading.recipe(attempt.run), judgement, curves, trace.header.load)


def _judged_from(
    reading: HeadReading, records: tuple[RunRecord, ...]
) -> tuple[HeadSpec | LimitSet, ...]:
    """Give the head specs and limits that the judgements were made from, each once."""
    specs = {r.judgement.head_sha256: reading.head_spec(r.attempt.run) for r in records}
    limits = {r.judgement.limits_sha256 for r in records}
    return (*specs.values(), *(reading.limits(sha256) for sha256 in sorted(limits)))


def _instruments(setup: HeadSetup) -> tuple[tuple[str, str, str], ...]:
    return tuple(
        (channel.instrument.name, channel.name, _calibration(channel))
        for channel in setup.channels.channels
    )


def _calibration(channel: Channel) -> str:
    instrument = channel.instrument
    spread = []
    if instrument.standard_uncertainty:
        unit = printed_unit(channel.unit)
        spread.append(f"standard uncertainty {instrument.standard_uncertainty:g} {unit}".rstrip())
    if instrument.relative_uncertainty:
        spread.append(f"{100 * instrument.relative_uncertainty:g} % of the reading")
    due = instrument.calibration_due
    words = f"calibration due {due}" if due else "not calibrated, indication only"
    return "; ".join([*filter(None, [" and ".join(spread)]), words])
