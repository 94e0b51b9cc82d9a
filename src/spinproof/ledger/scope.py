"""The terms of a job, and its scope: what was recommended, chosen, done."""

from sqlalchemy import func, select

from spinproof.ledger import rules, shop_tables, tables
from spinproof.ledger.keeping import KeepingBook
from spinproof.ledger.shop_entries import ScopeEntry, TermsEntry
from spinproof.ledger.states import BY_CHANGE_ORDER, SCOPE, ChangeOrderState, require_allowed
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.handover import ScopeLine, ScopeState
from spinproof.model.job import JobFile, JobScope, Process
from spinproof.model.matter import MatterKind
from spinproof.model.shop_rules import ShopRules


class ScopeRecords(KeepingBook):
    """Changes to terms and scope."""

    def _begin_terms(self, job: JobFile, shop_rules: ShopRules | None) -> None:
        full = job.process is Process.FULL
        if full and shop_rules is None:
            raise RecordError(
                "a job of the full process needs the shop's positions, checks and matrix",
                where=f"job {job.job}",
                mend="Give the shop rules, or take it in as burn-in only.",
            )
        if full or job.required_runs is not None:
            kept = shop_rules if full else None
            self._add_terms(job.job, job.process, kept, job.required_runs, None)

    def _add_terms(
        self,
        job: str,
        process: Process,
        shop_rules: ShopRules | None,
        required_runs: int | None,
        change_order: str | None,
    ) -> None:
        sha256 = None
        if shop_rules is not None:
            sha256 = self._keep("shop-rules", shop_rules.name, shop_rules)
        row = shop_tables.Terms(
            job=job,
            process=process.value,
            rules_sha256=sha256,
            required_runs=required_runs,
            change_order=change_order,
            who=self._who,
            at=self._at,
        )
        self._add(row, "terms.set", f"job {job}")

    def require_runs(self, job: str, required_runs: int, change_order: str) -> TermsEntry:
        """Change how many counted runs in a row a job needs.

        Parameters
        ----------
        job : str
            The job.
        required_runs : int
            The new number.
        change_order : str
            Name of the accepted change order.

        Returns
        -------
        TermsEntry
            The terms from now on.

        Raises
        ------
        GateClosedError
            If the change order is not accepted.
        RecordError
            If the number is not above zero.
        """
        if required_runs < 1:
            raise RecordError(
                f"{required_runs} runs prove nothing", where=f"job {job}", mend="Give 1 or more."
            )
        self._require_change_order(job, change_order)
        terms = self.terms(job)
        self._add_terms(job, terms.process, self.shop_rules(job), required_runs, change_order)
        return self.terms(job)

    def _add_scope_line(self, job: JobFile, line: JobScope) -> None:
        about = f"scope {line.item} of job {job.job}"
        self._add(_line_row(job.job, line), "scope.add", about)
        if job.process is Process.FULL:
            self._require_position(job.job, line.unit, line.position)
            self._add_scope_step(job.job, line.item, line.state, line.position)

    def add_scope_item(
        self,
        job: str,
        unit: str,
        text: str,
        *,
        item: str | None = None,
        position: str | None = None,
        consequence: str | None = None,
    ) -> ScopeEntry:
        """Propose a line of the scope.

        Parameters
        ----------
        job : str
            The job.
        unit : str
            Head, shared module or spare part that it is about.
        text : str
            The work.
        item : str, optional
            Identity of the line; the next free one when left out.
        position : str, optional
            Code of the position that it is about.
        consequence : str, optional
            What follows when it is declined.

        Returns
        -------
        ScopeEntry
            The line, proposed.

        Raises
        ------
        GateClosedError
            If the job is burn-in only: its scope was agreed before it began.
        RecordError
            If the line exists, or unit or position do not belong to the job.
        """
        self._require_full(job)
        if self.unit(unit).job != job:
            raise RecordError(
                f"{unit} belongs to another job",
                where=f"scope of job {job}",
                mend="Name a head, the shared module or a spare part of this job.",
            )
        name = item or self._next_item(job)
        if self._session.get(tables.ScopeItem, (job, name)) is not None:
            raise RecordError(
                "the scope holds this line already",
                where=f"scope {name} of job {job}",
                mend="Leave the item out to get the next free one.",
            )
        line = JobScope(
            item=name,
            unit=unit,
            text=rules.plain_text(text, "text"),
            state=ScopeState.PROPOSED,
            consequence=consequence,
            position=position,
        )
        self._require_position(job, unit, position)
        with self._keeping(unit):
            self._add(_line_row(job, line), "scope.add", f"scope {name} of job {job}")
            self._add_scope_step(job, name, ScopeState.PROPOSED, position)
        return self._scope_item(job, name)

    def change_scope(
        self,
        job: str,
        item: str,
        state: ScopeState,
        why: str,
        consequence: str | None = None,
        *,
        evidence: tuple[str, ...] = (),
        change_order: str | None = None,
    ) -> ScopeLine:
        """Take a line of the scope a step further, or change what the customer chose.

        Parameters
        ----------
        job, item : str
            The line.
        state : ScopeState
            What it is from now on.
        why : str
            The reason, or the change order in words.
        consequence : str, optional
            What follows from it.
        evidence : tuple of str
            SHA-256 of evidence; done needs some.
        change_order : str, optional
            Name of the accepted change order; to withdraw what was accepted, or to accept what
            was declined, the full process needs one.

        Returns
        -------
        ScopeLine
            The line as it is now.

        Raises
        ------
        RecordError
            If there is no such line.
        GateClosedError
            If the line would be accepted on a head that is out of scope, or if the step is not
            allowed from where the line is.
        """
        row = self._session.get(tables.ScopeItem, (job, item))
        where = f"scope {item} of job {job}"
        if row is None:
            raise RecordError(
                "the scope has no such line", where=where, mend="Name a line of the job's scope."
            )
        if state is ScopeState.ACCEPTED and not self.unit(row.unit).in_scope:
            raise GateClosedError(
                f"head {row.unit} is out of scope, so no work on it can be accepted",
                where=where,
                mend="Take the head in under a new job.",
            )
        reason = rules.plain_text(why, "reason")
        with self._keeping(row.unit):
            if self.terms(job).process is Process.FULL:
                self._step_scope(row, state, reason, evidence, change_order)
            self._change(
                row, "scope.change", where, reason, state=state.value, consequence=consequence
            )
        return ScopeLine(row.item, row.unit, row.text, state, row.consequence)

    def _step_scope(
        self,
        row: tables.ScopeItem,
        state: ScopeState,
        why: str,
        evidence: tuple[str, ...],
        change_order: str | None,
    ) -> None:
        where = f"scope {row.item} of job {row.job}"
        present = ScopeState(row.state)
        require_allowed(SCOPE, present, state, where=where)
        if (present, state) in BY_CHANGE_ORDER and change_order is None:
            raise GateClosedError(
                f'what is "{present}" becomes "{state}" by an accepted change order alone',
                where=where,
                mend="Open a change order, have the customer accept it, and name it.",
            )
        if change_order is not None:
            self._require_change_order(row.job, change_order)
        if state is ScopeState.DONE and not evidence:
            raise GateClosedError(
                "work is called done on evidence, and none is named",
                where=where,
                mend="Add a photo, a certificate or a record as evidence first.",
            )
        self._require_evidence(row.job, evidence)
        position = self._scope_item(row.job, row.item).position
        self._add_scope_step(row.job, row.item, state, position, why, evidence, change_order)

    def _add_scope_step(
        self,
        job: str,
        item: str,
        state: ScopeState,
        position: str | None,
        why: str | None = None,
        evidence: tuple[str, ...] = (),
        change_order: str | None = None,
    ) -> None:
        row = shop_tables.ScopeStep(
            job=job,
            item=item,
            state=state.value,
            position=position,
            change_order=change_order,
            evidence=list(evidence),
            why=why,
            who=self._who,
            at=self._at,
        )
        self._add(row, "scope.step", f"scope {item} of job {job}", why)

    def _require_change_order(self, job: str, name: str) -> None:
        order = self.matter(name)
        if order.kind is not MatterKind.CHANGE_ORDER or order.job != job:
            raise RecordError(
                "this is no change order of the job",
                where=f"{order.kind} {name}",
                mend=f"Name a change order of job {job}.",
            )
        if order.state is not ChangeOrderState.ACCEPTED:
            raise GateClosedError(
                f"the change order is {order.state}",
                where=f"change order {name}",
                mend="Have the customer accept it first; note the token that shows it.",
            )

    def _require_position(self, job: str, unit: str, position: str | None) -> None:
        if position is None:
            return
        own = self._file(unit).positions
        if all(place.code != position for place in own):
            raise RecordError(
                f"{unit} has no position {position}",
                where=f"scope of job {job}",
                mend=f"Choose one of: {', '.join(place.code for place in own)}.",
            )

    def _scope_item(self, job: str, item: str) -> ScopeEntry:
        return next(entry for entry in self.scope_items(job) if entry.item == item)

    def _next_item(self, job: str) -> str:
        lines = self._session.scalar(
            select(func.count()).select_from(tables.ScopeItem).where(tables.ScopeItem.job == job)
        )
        number = (lines or 0) + 1
        while self._session.get(tables.ScopeItem, (job, f"SC-{number:02d}")) is not None:
            number += 1
        return f"SC-{number:02d}"


def _line_row(job: str, line: JobScope) -> tables.ScopeItem:
    return tables.ScopeItem(
        job=job,
        item=line.item,
        unit=line.unit,
        text=line.text,
        state=line.state.value,
        consequence=line.consequence,
    )
