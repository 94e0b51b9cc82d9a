"""Jobs, their machines and heads, the scope and the evidence."""

from spinproof.ledger import rules, tables
from spinproof.ledger.book import Book
from spinproof.ledger.entries import JobEntry, UnitKind
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.handover import EvidenceItem, ScopeLine, ScopeState
from spinproof.model.job import JobFile, JobHead


class JobRecords(Book):
    """Changes to jobs, scope and evidence."""

    def add_job(self, job: JobFile) -> JobEntry:
        """Take in a job with its order, machine, heads, shared module and agreed scope.

        Parameters
        ----------
        job : JobFile
            What was agreed.

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
        for unit in (*(head.designation for head in job.heads), job.shared_module):
            if unit is not None:
                self._refuse_known(tables.Unit, "unit", unit)
        about = f"job {job.job}"
        row = tables.Job(name=job.job, order_token=job.order, shop=job.shop, opened_at=self._at)
        self._add(row, "job.add", about)
        self._add(tables.Machine(designation=job.machine, job=job.job), "machine.add", about)
        for head in job.heads:
            self._add_head(job, head)
        if job.shared_module is not None:
            self._add_shared_module(job, job.shared_module)
        for line in job.scope:
            self._add_scope_line(job.job, ScopeLine(**line.model_dump()))
        return self.job(job.job)

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

    def _add_shared_module(self, job: JobFile, designation: str) -> None:
        row = tables.Unit(
            designation=designation,
            machine=job.machine,
            kind=UnitKind.SHARED_MODULE.value,
            position="shared",
            letter="",
            in_scope=True,
            words="what the heads share: supply, exhaust, drain, frame",
        )
        self._add(row, "unit.add", f"shared module {designation}")

    def _add_scope_line(self, job: str, line: ScopeLine) -> None:
        row = tables.ScopeItem(
            job=job,
            item=line.item,
            unit=line.unit,
            text=line.text,
            state=line.state.value,
            consequence=line.consequence,
        )
        self._add(row, "scope.add", f"scope {line.item} of job {job}")

    def change_scope(
        self, job: str, item: str, state: ScopeState, why: str, consequence: str | None = None
    ) -> ScopeLine:
        """Change what the customer chose for a line of the scope.

        Parameters
        ----------
        job, item : str
            The line.
        state : ScopeState
            What it is from now on.
        why : str
            The change order, in words.
        consequence : str, optional
            What follows from it.

        Returns
        -------
        ScopeLine
            The line as it is now.

        Raises
        ------
        RecordError
            If there is no such line.
        GateClosedError
            If the line would be accepted on a head that is out of scope.
        """
        row = self._session.get(tables.ScopeItem, (job, item))
        if row is None:
            raise RecordError(
                "the scope has no such line",
                where=f"scope {item} of job {job}",
                mend="Name a line of the job's scope.",
            )
        if state is ScopeState.ACCEPTED and not self.unit(row.unit).in_scope:
            raise GateClosedError(
                f"head {row.unit} is out of scope, so no work on it can be accepted",
                where=f"scope {item} of job {job}",
                mend="Take the head in under a new job.",
            )
        self._change(
            row,
            "scope.change",
            f"scope {item} of job {job}",
            rules.plain_text(why, "reason"),
            state=state.value,
            consequence=consequence,
        )
        return ScopeLine(row.item, row.unit, row.text, state, row.consequence)

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
        self._add(row, "evidence.add", f"evidence {sha256}")
        return EvidenceItem(row.sha256, row.name, row.what, row.who, row.at)

    def _refuse_known(self, table: type[tables.Base], kind: str, name: str) -> None:
        if self._session.get(table, name) is not None:
            raise RecordError(
                f"the ledger holds {kind} {name} already",
                where=f"{kind} {name}",
                mend="Open the one that is there, or give the new one its own designation.",
            )
