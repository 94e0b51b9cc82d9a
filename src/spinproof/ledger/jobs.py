"""Jobs, their machines and heads, and the evidence."""

from spinproof.ledger import rules, tables
from spinproof.ledger.entries import JobEntry, UnitKind
from spinproof.ledger.rulebook.book import require_kept
from spinproof.ledger.scope import ScopeRecords
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.handover import EvidenceItem
from spinproof.model.job import JobFile, JobHead
from spinproof.model.shop_rules import ShopRules


class JobRecords(ScopeRecords):
    """Changes to jobs and evidence."""

    def add_job(self, job: JobFile, shop_rules: ShopRules | None = None) -> JobEntry:
        """Take in a job with its order, machine, heads, shared module and agreed scope.

        Parameters
        ----------
        job : JobFile
            What was agreed.
        shop_rules : ShopRules, optional
            Positions, checks and re-test matrix; a job of the full process needs them.

        Returns
        -------
        JobEntry
            The job as recorded.

        Raises
        ------
        RecordError
            If job, machine or a head is in the ledger already, or if two heads would name their
            runs alike.
        """
        letters = [head.position[0].upper() for head in job.heads]
        if len(set(letters)) != len(letters):
            raise RecordError(
                "the positions of two heads begin with the same letter, which names their runs",
                where=f"job {job.job}",
                mend='Give positions that begin differently, for example "upper" and "lower".',
            )
        self._refuse_known(tables.Job, "job", job.job)
        self._refuse_known(tables.Machine, "machine", job.machine)
        units = [*(h.designation for h in job.heads), *(s.designation for s in job.spares)]
        for unit in (*units, *([job.shared_module] if job.shared_module else [])):
            self._refuse_known(tables.Unit, "unit", unit)
        with self._session.begin_nested():
            self._write_job(job, shop_rules)
            for unit in self._touched_in(job.job):
                require_kept(self._file(unit))
        return self.job(job.job)

    def _write_job(self, job: JobFile, shop_rules: ShopRules | None) -> None:
        about = f"job {job.job}"
        row = tables.Job(name=job.job, order_token=job.order, shop=job.shop, opened_at=self._at)
        self._add(row, "job.add", about)
        self._add(tables.Machine(designation=job.machine, job=job.job), "machine.add", about)
        for head in job.heads:
            self._add_head(job, head)
        if job.shared_module is not None:
            words = "what the heads share: supply, exhaust, drain, frame"
            self._add_other_unit(job, job.shared_module, UnitKind.SHARED_MODULE, words)
        for spare in job.spares:
            self._add_other_unit(job, spare.designation, UnitKind.SPARE, spare.words)
        self._begin_terms(job, shop_rules)
        for line in job.scope:
            self._add_scope_line(job, line)

    def _add_head(self, job: JobFile, head: JobHead) -> None:
        row = tables.Unit(
            designation=head.designation,
            machine=job.machine,
            kind=UnitKind.HEAD.value,
            position=head.position,
            letter=head.position[0].upper(),
            in_scope=head.in_scope,
            words=head.words,
        )
        self._add(row, "unit.add", f"head {head.designation}")

    def _add_other_unit(self, job: JobFile, designation: str, kind: UnitKind, words: str) -> None:
        row = tables.Unit(
            designation=designation,
            machine=job.machine,
            kind=kind.value,
            position="shared" if kind is UnitKind.SHARED_MODULE else "by itself",
            letter="",
            in_scope=True,
            words=words,
        )
        self._add(row, "unit.add", f"{kind} {designation}")

    def add_evidence(self, job: str, sha256: str, name: str, what: str) -> EvidenceItem:
        """Hold a file as evidence.

        Parameters
        ----------
        job : str
            The job that it belongs to.
        sha256 : str
            SHA-256 of the file.
        name : str
            Name of the file.
        what : str
            What it shows.

        Returns
        -------
        EvidenceItem
            The evidence as recorded.

        Raises
        ------
        GateClosedError
            If the same file is evidence of another job.
        RecordError
            If it is evidence of this job already.
        """
        self.job(job)
        known = self._session.get(tables.Evidence, sha256)
        if known is not None and known.job != job:
            raise GateClosedError(
                f"the same file is evidence of job {known.job}",
                where=f"evidence {name} of job {job}",
                mend="A file belongs to one job: take the record that was made for this one.",
            )
        if known is not None:
            raise RecordError(
                f'the file is held already, as "{known.name}"',
                where=f"evidence {name} of job {job}",
                mend="Name the evidence that is there by its SHA-256.",
            )
        row = tables.Evidence(
            sha256=sha256,
            job=job,
            name=rules.plain_text(name, "name"),
            what=rules.plain_text(what, "description"),
            who=self._who,
            at=self._at,
        )
        with self._keeping(None, job):
            self._add(row, "evidence.add", f"evidence {sha256}")
        return EvidenceItem(row.sha256, row.name, row.what, row.who, row.at)

    def _refuse_known(self, table: type[tables.Base], kind: str, name: str) -> None:
        if self._session.get(table, name) is not None:
            raise RecordError(
                f"the ledger holds {kind} {name} already",
                where=f"{kind} {name}",
                mend="Open the one that is there, or give the new one its own designation.",
            )
