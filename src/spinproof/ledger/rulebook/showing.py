"""R40 to R45: what is shown, said and sent."""

import re

from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.rulebook.identity import left_out
from spinproof.ledger.rulebook.rule import Force, Rule, listed
from spinproof.ledger.shop_entries import Action, AttestationEntry, Step
from spinproof.ledger.standing import is_settled
from spinproof.model.attestation import (
    Acknowledgement,
    DossierIssued,
    EvidenceDetail,
    Film,
    Shipment,
)
from spinproof.model.check import Checkpoint, EvidenceKind
from spinproof.model.matter import MatterKind, Waiver
from spinproof.model.promise import promise_in
from spinproof.model.run import Purpose

PICTURES = frozenset({EvidenceKind.PHOTO, EvidenceKind.FILM})
_BARE_HASH = re.compile(r"[0-9a-f]{32}|[0-9a-f]{40}|[0-9a-f]{56}|[0-9a-f]{64}", re.IGNORECASE)


def _pictures_clean(file: HeadFile, _: Step) -> tuple[str, ...]:
    return tuple(
        f"{_name(file, fact.sha256)}: nobody looked at what it carries besides the picture "
        "(place, device, thumbnail)."
        for entry, fact in file.stated(EvidenceDetail)
        if fact.shows in PICTURES and fact.removed is None and _is_own(file, entry)
    )


def _is_own(file: HeadFile, entry: AttestationEntry) -> bool:
    return entry.unit in {None, *file.unit_names}


def _name(file: HeadFile, sha256: str) -> str:
    item = file.evidence_by_hash.get(sha256)
    return item.name if item else sha256[:12]


def _order_is_token(file: HeadFile, _: Step) -> tuple[str, ...]:
    if _BARE_HASH.fullmatch(file.order.replace("-", "").replace(" ", "")):
        return (
            f'The order "{file.order}" looks like a plain hash: whoever tries all order numbers '
            "finds the one behind it. Use a random token.",
        )
    return ()


def _pictures_show_head(file: HeadFile, _: Step) -> tuple[str, ...]:
    linked = {
        fact.sha256: entry.unit
        for entry, fact in file.stated(EvidenceDetail)
        if entry.unit is not None
    }
    used = [(check.check, sha256) for check in file.checks for sha256 in check.evidence]
    foreign = [
        f"{check}: {_name(file, sha256)} shows {linked[sha256]}, not this head."
        for check, sha256 in used
        if linked.get(sha256, file.unit.designation) not in file.unit_names
    ]
    return tuple(foreign)


def _films_tied(file: HeadFile, _: Step) -> tuple[str, ...]:
    found = []
    traces = {run.name: run.trace_sha256 for run in file.runs}
    witness = {run.name for run in file.runs if run.purpose is Purpose.WITNESS}
    films = {fact.sha256: fact for _, fact in file.stated(Film)}
    for film in films.values():
        if traces.get(film.run) != film.trace_sha256:
            found.append(f"{_name(file, film.sha256)} names another trace than that of {film.run}.")
        if film.run not in witness:
            found.append(f"{_name(file, film.sha256)} shows {film.run}, which is no witnessed run.")
        if film.ended_at <= film.started_at:
            found.append(f"{_name(file, film.sha256)} ends before it starts.")
    loose = [
        fact
        for entry, fact in file.stated(EvidenceDetail)
        if fact.shows is EvidenceKind.FILM and _is_own(file, entry) and fact.sha256 not in films
    ]
    found += [
        f"{_name(file, fact.sha256)} is tied to no run, and names no film it was cut from."
        for fact in loose
        if fact.parent is None and _used_as_witness(file, fact)
    ]
    return tuple(found)


def _used_as_witness(file: HeadFile, fact: EvidenceDetail) -> bool:
    return any(
        check.check.startswith("S") and fact.sha256 in check.evidence for check in file.checks
    )


def printed_texts(file: HeadFile) -> tuple[tuple[str, str], ...]:
    """Give the texts of people that stand on customer documents, each with its place.

    Parameters
    ----------
    file : HeadFile
        Records of a head.

    Returns
    -------
    tuple of str and str
        Place and text.
    """
    texts = [(f"scope {line.item}", line.text) for line in file.scope]
    texts += [(f"scope {line.item}", line.consequence or "") for line in file.scope]
    texts += [(f"change of {c.unit}", c.what) for c in file.changes]
    texts += [("configuration", entry.what) for entry in file.configurations]
    texts += [(f"evidence {item.name}", item.what) for item in file.evidence]
    texts += [(f"part {part.tag}", part.words) for part in file.parts]
    for matter in file.of_kind(MatterKind.WAIVER):
        if isinstance(matter.content, Waiver):
            texts += [(matter.name, matter.content.why), (matter.name, matter.content.risk)]
    return tuple(texts)


def _no_promises(file: HeadFile, _: Step) -> tuple[str, ...]:
    return tuple(
        f'{place}: the words "{found}" promise more than records can hold: "{text[:120]}".'
        for place, text in printed_texts(file)
        if (found := promise_in(text)) is not None
    )


def _ready_to_ship(file: HeadFile, _: Step) -> tuple[str, ...]:
    found = []
    if not is_settled(file, Checkpoint.RELEASE):
        found.append("The head is not released.")
    if not file.stated(DossierIssued):
        found.append("No dossier was issued.")
    shown = [fact for _, fact in file.stated(Acknowledgement)]
    if not shown and left_out(file.scope, ()):
        found.append("The customer did not acknowledge the exclusions.")
    packed = file.stated(Shipment)
    if not packed:
        return (*found, "No record says how it was drained, held and packed.")
    entry, shipment = packed[-1]
    if not entry.evidence:
        found.append("Nothing shows that it was drained and that its rotor is held.")
    built = {part.tag for parts in file.occupants.values() for part in parts}
    missing, extra = sorted(built - set(shipment.tags)), sorted(set(shipment.tags) - built)
    if missing:
        found.append(f"The crate's list lacks parts that are built in: {listed(missing)}.")
    if extra:
        found.append(f"The crate's list names parts that are not built in: {listed(extra)}.")
    return tuple(found)


SHOWING = (
    Rule(
        "R40",
        "What is shown outside carries no place, no thumbnail, no author, no path and none of the "
        "customer's words.",
        Force.GATE,
        "passing the release",
        _pictures_clean,
        passing=frozenset({Checkpoint.RELEASE}),
        simplest_form="The ledger asks that somebody or something looked; the pictures themselves, "
        "and the customer's words, are searched where files are taken in and packages written.",
    ),
    Rule(
        "R41",
        "Who is behind an order is never exported, and its token is random, never a plain hash.",
        Force.ALWAYS,
        "taking a job in; the ledger has no column that could hold a customer",
        _order_is_token,
        simplest_form="Archives are searched where they are written.",
    ),
    Rule(
        "R42",
        "Every picture is linked to its head, and a file is evidence in one job only.",
        Force.ALWAYS,
        "finishing a check; adding evidence",
        _pictures_show_head,
    ),
    Rule(
        "R43",
        "A film of the witnessed run names its run, its times and its trace; what is cut from it "
        "names its parent.",
        Force.GATE,
        "passing the source inspection",
        _films_tied,
        passing=frozenset({Checkpoint.SOURCE_INSPECTION, Checkpoint.RELEASE}),
        simplest_form="Film and trace are tied by the record; aligning them belongs to the film.",
    ),
    Rule(
        "R44",
        "What customers read is made from records; texts of people promise nothing.",
        Force.ALWAYS,
        "scope, changes, configurations, evidence, parts and waivers; documents are searched again "
        "before they are issued",
        _no_promises,
    ),
    Rule(
        "R45",
        "Nothing is shipped without an issued dossier, acknowledged exclusions, proof that it is "
        "drained and its rotor held, and a crate list that equals the build.",
        Force.GATE,
        "shipping",
        _ready_to_ship,
        entering=frozenset({Action.SHIP}),
        simplest_form="One shipment for each head with its shared module.",
    ),
)
"""The rules of what is shown."""
