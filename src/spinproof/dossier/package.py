"""The package that goes to the customer: built aside, renamed whole, signed."""

import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from spinproof.dossier.curves import curves_table
from spinproof.dossier.dictionary import DICTIONARY_FILE, dictionary, schemas
from spinproof.dossier.document import Seal, render_document, typeset_texts
from spinproof.dossier.evidence import (
    DOSSIER_FILE,
    EVIDENCE_FILE,
    INSTRUCTIONS_FILE,
    PAGE_FILE,
    WITHOUT_SUM,
    evidence_document,
)
from spinproof.dossier.instructions import instructions
from spinproof.dossier.key_list import KEYS_FILE, SigningKeys, fault_of_key
from spinproof.dossier.keys import CERTIFICATE_FILE, ReleaseKey, is_valid_at
from spinproof.dossier.pdf_signature import sign_pdf
from spinproof.dossier.soundness import all_records, refuse_unsound
from spinproof.dossier.statements import (
    configurations_document,
    make_statements,
    scope_document,
)
from spinproof.dossier.sums import LIST_FILE, SIGNATURE_FILE, is_plain_path, write_list
from spinproof.dossier.wording import refuse_promises
from spinproof.files.canonical import canonical_json, digest_of
from spinproof.files.digest import sha256_of_bytes, sha256_of_file
from spinproof.files.durable import storage_errors, sync_folder, write_durably
from spinproof.model.documents import KINDS
from spinproof.model.errors import PackageError
from spinproof.model.handover import EvidenceItem, Handover
from spinproof.model.head import HeadSpec
from spinproof.model.limit import LimitSet
from spinproof.model.noun import Noun

Look = Callable[[Mapping[str, str | bytes]], None]
"""Looks at all texts and files of a package, and raises when it must not be released."""

PAGE = Path(__file__).parent / PAGE_FILE
"""The page that checks a package in a browser, the same in each package."""


def write_package(
    handover: Handover,
    *,
    traces: Mapping[str, Path],
    inputs: Sequence[HeadSpec | LimitSet],
    evidence: Mapping[str, Path],
    keys: SigningKeys,
    trail: Mapping[str, bytes],
    folder: Path,
    last_look: Look = lambda _: None,
) -> Path:
    """Write the signed package of a head.

    Parameters
    ----------
    handover : Handover
        The records.
    traces : mapping of str to Path
        Sealed trace file of each run, by the run's name.
    inputs : sequence of HeadSpec or LimitSet
        What the judgements were made from, beside the recipes of the runs.
    evidence : mapping of str to Path
        Files of the handover's evidence, by their SHA-256.
    keys : SigningKeys
        The shop's release key, and the list that names it.
    trail : mapping of str to bytes
        The signed head of the audit trail and its proofs, by file name.
    folder : Path
        Where the package is to stand, in a folder named after job and head.
    last_look : callable
        Given every text that was typeset and every file, by name, before anything is signed.

    Returns
    -------
    Path
        Folder of the package. The same arguments give the same bytes.

    Raises
    ------
    PackageError
        If the records contradict one another, a file is missing or not the recorded one, a text
        promises more than records can hold, or a package stands there already.

    Notes
    -----
    StorageError says when a file cannot be read or written; nothing is left behind then.
    """
    refuse_unsound(handover)
    key = keys.release
    _refuse_expired(key, handover.issued_at)
    _refuse_ended(keys, handover.issued_at)
    target = folder / _plain(handover.name)
    with _built_aside(target) as place:
        records = _write_documents(handover, inputs, place)
        records |= _copy_traces(handover, traces, place)
        records |= _copy_evidence(handover.evidence, evidence, place)
        records |= _write_curves(handover, place)
        records |= {name: _write(place / name, data) for name, data in trail.items()}
        records |= _write_dictionary(handover, place)
        records |= {PAGE_FILE: _write(place / PAGE_FILE, PAGE.read_bytes())}
        records |= {KEYS_FILE: _write(place / KEYS_FILE, keys.known.to_bytes())}
        records |= {CERTIFICATE_FILE: _write(place / CERTIFICATE_FILE, key.certificate_pem)}
        _refuse_incomplete(handover, records)
        typeset = _write_statements(handover, records, key, place)
        last_look(typeset | _files(place))
        _seal(place, key)
    return target


def _write_documents(
    handover: Handover, inputs: Sequence[HeadSpec | LimitSet], place: Path
) -> dict[str, str]:
    """Write judgements, their inputs, plan, scope and configurations as canonical JSON."""
    documents: dict[str, object] = {
        "records/scope.json": scope_document(handover),
        "records/configurations.json": configurations_document(handover),
        "records/plan.json": handover.plan.to_document(),
    }
    nouns: list[Noun] = [*inputs, *(planned.recipe for planned in handover.plan.runs)]
    for record in all_records(handover):
        nouns.append(record.recipe)
        path = f"judgements/{_plain(record.attempt.run)}.json"
        documents[path] = record.judgement.to_document()
    kinds = {noun: kind for kind, noun in KINDS.items()}
    for noun in nouns:
        document = noun.to_document()
        documents[f"inputs/{kinds[type(noun)]}-{digest_of(document)[:16]}.json"] = document
    return {
        path: _write(place / path, canonical_json(document)) for path, document in documents.items()
    }


def _write_curves(handover: Handover, place: Path) -> dict[str, str]:
    """Write the curves of each run as the figures show them, for the page and for spreadsheets."""
    tables = {
        f"curves/{_plain(record.attempt.run)}.csv": curves_table(record.series)
        for record in all_records(handover)
    }
    return {path: _write(place / path, data) for path, data in tables.items()}


def _write_dictionary(handover: Handover, place: Path) -> dict[str, str]:
    """Write what the data mean: the dictionary for people, the schemas for programs."""
    files = {DICTIONARY_FILE: dictionary(all_records(handover)), **schemas()}
    return {path: _write(place / path, data) for path, data in files.items()}


def _copy_traces(handover: Handover, traces: Mapping[str, Path], place: Path) -> dict[str, str]:
    copied = {}
    for attempt in (record.attempt for record in all_records(handover)):
        path = f"runs/{_plain(attempt.run)}.parquet"
        source = traces.get(attempt.run)
        if source is None:
            raise PackageError(
                f"the trace of run {attempt.run} is missing",
                where="write_package",
                mend="Give the sealed file of every run.",
            )
        copied[path] = _copy(source, place / path, attempt.trace_sha256)
    return copied


def _copy_evidence(
    items: Sequence[EvidenceItem], files: Mapping[str, Path], place: Path
) -> dict[str, str]:
    copied = {}
    for item in items:
        source = files.get(item.sha256)
        if source is None:
            raise PackageError(
                f"the file of the evidence {item.name} is missing",
                where="write_package",
                mend="Take it from the evidence store, by its SHA-256.",
            )
        path = evidence_path(item)
        copied[path] = _copy(source, place / path, item.sha256)
    return copied


def evidence_path(item: EvidenceItem) -> str:
    """Give the path of a piece of evidence: the start of its sum, and its name in plain letters."""
    plain = "".join(c if c.isascii() and (c.isalnum() or c in ".-_") else "-" for c in item.name)
    return f"evidence/{item.sha256[:16]}-{plain[-60:]}"


def _refuse_incomplete(handover: Handover, records: Mapping[str, str]) -> None:
    """Refuse a package in which a judgement could not be made again.

    Raises
    ------
    PackageError
        If recipe, head or limits of a judgement are not in the package.
    """
    present = set(records.values())
    for record in all_records(handover):
        judgement = record.judgement
        for what, sha256 in (
            ("recipe", judgement.recipe_sha256),
            ("head", judgement.head_sha256),
            ("limits", judgement.limits_sha256),
        ):
            if sha256 not in present:
                raise PackageError(
                    f"the {what} that run {judgement.run} was judged with is not among the inputs",
                    where="write_package",
                    mend="Give the head spec and the limit set as they were when it was judged.",
                )


def _write_statements(
    handover: Handover, records: Mapping[str, str], key: ReleaseKey, place: Path
) -> dict[str, str | bytes]:
    """Write evidence.json, the document that prints its sum, and how to verify both.

    Gives the texts that the document was typeset from.
    """
    statements = make_statements(handover)
    document = evidence_document(handover, statements, records, key.fingerprint).to_document()
    refuse_promises(document, EVIDENCE_FILE)
    evidence_sha256 = _write(place / EVIDENCE_FILE, canonical_json(document))
    seal = Seal(evidence_sha256, key.fingerprint, len(records) + len(WITHOUT_SUM))
    at = datetime.fromisoformat(handover.issued_at)
    _write(place / DOSSIER_FILE, sign_pdf(render_document(handover, statements, seal), key, at))
    text = instructions(handover, seal.listed_files, key.fingerprint)
    _write(place / INSTRUCTIONS_FILE, text.encode("ascii", "replace"))
    return {
        f"{DOSSIER_FILE}, {what}": words
        for what, words in typeset_texts(handover, statements, seal).items()
    }


def _files(place: Path) -> dict[str, str | bytes]:
    return {
        path.relative_to(place).as_posix(): path.read_bytes()
        for path in sorted(place.rglob("*"))
        if path.is_file()
    }


def _seal(place: Path, key: ReleaseKey) -> None:
    sums = {
        path.relative_to(place).as_posix(): sha256_of_file(path)
        for path in sorted(place.rglob("*"))
        if path.is_file()
    }
    listed = write_list(sums)
    _write(place / LIST_FILE, listed)
    _write(place / SIGNATURE_FILE, key.sign(listed))


@contextmanager
def _built_aside(target: Path) -> Iterator[Path]:
    """Give a folder to build in, which takes the target's name when all is written.

    Raises
    ------
    PackageError
        If the target exists.
    """
    if target.exists():
        raise PackageError(
            "a package stands there already, and an issued package is never overwritten",
            where=str(target),
            mend="Move it away, or choose another folder.",
        )
    place = target.with_name(f".{target.name}.part")
    with storage_errors(target):
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir(parents=True)
        try:
            yield place
            place.rename(target)
        finally:
            shutil.rmtree(place, ignore_errors=True)
        sync_folder(target.parent)


def _refuse_expired(key: ReleaseKey, issued_at: str) -> None:
    if not is_valid_at(key.certificate, issued_at):
        raise PackageError(
            f"the release certificate is not valid at {issued_at}",
            where=CERTIFICATE_FILE,
            mend="Make a new one with `spinproof keys renew`, and tell customers its fingerprint.",
        )


def _refuse_ended(keys: SigningKeys, issued_at: str) -> None:
    why = fault_of_key(keys.known, keys.release.certificate, issued_at)
    if why:
        raise PackageError(why, where=KEYS_FILE, mend="Make a new key with `spinproof keys renew`.")


def _plain(name: str) -> str:
    if not is_plain_path(name) or "/" in name:
        raise PackageError(
            f'the name "{name}" cannot be a file name',
            where="write_package",
            mend="Use letters, digits, dots, hyphens and underscores.",
        )
    return name


def _write(path: Path, data: bytes) -> str:
    with storage_errors(path):
        path.parent.mkdir(parents=True, exist_ok=True)
    write_durably(path, data)
    return sha256_of_bytes(data)


def _copy(source: Path, target: Path, sha256: str) -> str:
    with storage_errors(source):
        data = source.read_bytes()
    if sha256_of_bytes(data) != sha256:
        raise PackageError(
            "the file is not the one that was recorded: its SHA-256 differs",
            where=str(source),
            mend="Restore it from a backup; a changed trace proves nothing.",
        )
    return _write(target, data)
