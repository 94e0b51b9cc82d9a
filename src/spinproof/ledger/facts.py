"""Facts that are stated once."""

import json

from spinproof.ledger import shop_tables as shop
from spinproof.ledger.campaigns import AGREED_LIMITS
from spinproof.ledger.entries import UnitKind
from spinproof.ledger.parts import PartRecords
from spinproof.ledger.shop_entries import AttestationEntry, Deed
from spinproof.model.attestation import AgreedLimit, Attestation, EvidenceDetail, Unloading
from spinproof.model.check import Checkpoint
from spinproof.model.errors import RecordError
from spinproof.model.matter import Nonconformance
from spinproof.model.part import Severity
from spinproof.model.retest import Change, ChangeKind
from spinproof.model.tag import parse_tag


class FactRecords(PartRecords):
    """Changes to facts."""

    def state_fact(
        self,
        content: Attestation,
        *,
        job: str | None = None,
        unit: str | None = None,
        deed: Deed | None = None,
    ) -> AttestationEntry:
        """State a fact; it is never changed, only stated anew.

        Parameters
        ----------
        content : Attestation
            Decontamination, balance, clock check, room air, unloading, paper, agreed limit,
            evidence detail, film, dossier issued, acknowledgement or shipment.
        job : str, optional
            The job; left out for what holds for the whole shop.
        unit : str, optional
            The head, shared module or spare part.
        deed : Deed, optional
            Evidence and time.

        Returns
        -------
        AttestationEntry
            The fact as recorded.

        Raises
        ------
        RecordError
            If it names a part, run or file that the job does not hold.
        """
        own = None if unit is None else self.unit(unit).job
        if own is not None and job not in {None, own}:
            raise RecordError(
                f"{unit} belongs to job {own}", where=f"job {job}", mend="Name its own job."
            )
        how = deed or Deed("stated")
        about = own or job
        if how.evidence and about is None:
            raise RecordError(
                "evidence belongs to a job", where=content.kind, mend="Name the job as well."
            )
        if about is not None:
            self._require_evidence(about, how.evidence)
        self._require_known(content, about, unit)
        row = shop.AttestationRow(
            job=about,
            unit=unit,
            kind=content.kind,
            content=content.to_document(),
            evidence=list(how.evidence),
            done_at=self._moment(how.done_at, about),
            who=self._who,
            at=self._at,
        )
        whole_job = unit is None or isinstance(content, EvidenceDetail)
        with self._keeping(None if whole_job else unit, about):
            self._add(row, "fact.state", f"unit {unit}" if unit else f"job {about or 'none'}")
            self._follow_fact(content, unit)
        return self._attestations(shop.AttestationRow.id == row.id)[0]

    def _require_known(self, content: Attestation, job: str | None, unit: str | None) -> None:
        """Refuse a fact about something that is not there.

        Raises
        ------
        RecordError
            If a part, run or file is not on record.
        """
        for tag in content.tags_named:
            self.part(parse_tag(tag, self.tags()))
        for run in content.runs_named:
            if self.run(run).head != unit:
                raise RecordError(
                    f"run {run} is no run of {unit}",
                    where=content.kind,
                    mend="Name the run's own head.",
                )
        if job is not None:
            self._require_evidence(job, content.files_named)

    def _follow_fact(self, content: Attestation, unit: str | None) -> None:
        """Write what else follows from a fact."""
        if unit is None:
            return
        if isinstance(content, AgreedLimit):
            change = Change(kind=ChangeKind.LIMIT, name=content.check)
            text = f"Limit of {content.check}, {content.reading}, set: {content.limit.source}."
            self._add_change(unit, change, text, self._at)
            self._configure_anew(content, unit, text)
        if isinstance(content, Unloading):
            self._ask_about_wafers(content, unit)

    def _configure_anew(self, content: AgreedLimit, unit: str, why: str) -> None:
        """Let another limit of a test change the fingerprint, which closes the campaign.

        A limit of the source inspection, which follows the burn-in, leaves it open.
        """
        history = self.configurations(unit) if self.unit(unit).kind is UnitKind.HEAD else ()
        check = self._file(unit).require_rules().check(content.check)
        if not history or check.checkpoint.number >= Checkpoint.FINAL_TEST.number:
            return
        self._require_idle(unit)
        document = json.loads(self.document(history[-1].fingerprint))
        agreed = document.setdefault(AGREED_LIMITS, {})
        agreed[f"{content.check}: {content.reading}"] = content.limit.to_document()
        self._store_configuration(unit, document, why)

    def _ask_about_wafers(self, content: Unloading, unit: str) -> None:
        """Raise a nonconformance when not every wafer came out whole."""
        loaded = self.run(content.run).wafer_count
        if content.whole == loaded and not content.broken:
            return
        text = (
            f"{content.run}: {loaded} wafers went in, {content.whole} came out whole, "
            f"{content.broken} broken. Bowl, drain and filter must be inspected."
        )
        about = Nonconformance(text=text, severity=Severity.SAFETY, run=content.run)
        self.open_matter(self.unit(unit).job, about, unit=unit)
