"""Checks: answers to their readings, and the moment when somebody calls one finished."""

from collections.abc import Mapping
from datetime import date

from spinproof.ledger import rules
from spinproof.ledger import shop_tables as shop
from spinproof.ledger.answers import answers_of, doubt_about, limit_in_force, standing_now
from spinproof.ledger.facts import FactRecords
from spinproof.ledger.gating import reasons_not_to_check, refuse_closed
from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.measuring import Answered, Weighed, weigh
from spinproof.ledger.shop_entries import CheckEntry, Deed, MeasurementEntry
from spinproof.ledger.states import NonconformanceState
from spinproof.model.attestation import EvidenceDetail
from spinproof.model.check import CheckTemplate, LimitFrom, Reading
from spinproof.model.errors import GateClosedError
from spinproof.model.judgement import Verdict
from spinproof.model.matter import MatterKind, Nonconformance
from spinproof.model.part import Severity


class CheckRecords(FactRecords):
    """Changes to measurements and checks."""

    def answer_reading(
        self, head: str, check: str, answered: Answered, deed: Deed | None = None
    ) -> MeasurementEntry:
        """Write down what was found for one reading of a check.

        Parameters
        ----------
        head : str
            Designation of the head.
        check : str
            Id of the check.
        answered : Answered
            What was found, with unit, instrument and conditions.
        deed : Deed, optional
            When it was measured; to put another answer in the place of one in force, also why.

        Returns
        -------
        MeasurementEntry
            The answer with its verdict and the rule that made it.

        Raises
        ------
        GateClosedError
            If the check may not be made now, or an answer is replaced without a reason.
        RecordError
            If check, reading or instrument are not known, or do not fit.
        UnitError
            If the unit is of another dimension.
        """
        file = self._file(head)
        template = file.require_rules().check(check)
        reading = template.reading(answered.reading)
        where = f"{head}, {check}, {reading.name}"
        if file.unit.in_scope:
            refuse_closed(reasons_not_to_check(file, template), where)
        moment = self._moment(deed.done_at if deed else None, file.unit.job)
        limit = limit_in_force(file, check, reading, moment)
        known = None if answered.instrument is None else self.instrument(answered.instrument)
        weighed = weigh(reading, answered, known, limit, date.fromisoformat(moment[:10]), where)
        before = answers_of(file, check).get(reading.name)
        if before is not None and deed is None:
            raise GateClosedError(
                "the reading is answered already",
                where=where,
                mend="Give the reason for putting another answer in its place; both are kept.",
            )
        with self._keeping(head):
            return self._add_measurement(head, check, answered, weighed, before, deed, moment)

    def withdraw_reading(self, head: str, check: str, reading: str, why: str) -> MeasurementEntry:
        """Take an answer back; it stays on record.

        Parameters
        ----------
        head : str
            Designation of the head.
        check, reading : str
            Whose answer.
        why : str
            The reason.

        Returns
        -------
        MeasurementEntry
            The row that takes it back.

        Raises
        ------
        GateClosedError
            If there is no answer in force.
        """
        before = answers_of(self._file(head), check).get(reading)
        if before is None:
            raise GateClosedError(
                "there is no answer to take back",
                where=f"{head}, {check}, {reading}",
                mend="Answer the reading.",
            )
        empty = Answered(reading)
        with self._keeping(head):
            return self._add_measurement(head, check, empty, Weighed(), before, Deed(why), self._at)

    def finish_check(self, head: str, check: str, deed: Deed | None = None) -> CheckEntry:
        """Call a check finished: passed when every reading supports it.

        A check that fails a limit raises a nonconformance.

        Parameters
        ----------
        head : str
            Designation of the head.
        check : str
            Id of the check.
        deed : Deed, optional
            Evidence of the kinds that the check asks for.

        Returns
        -------
        CheckEntry
            The result, with the reasons when it is not passed.

        Raises
        ------
        GateClosedError
            If the head is out of scope, the check may not be made now, a reading has no answer,
            or evidence is missing.
        """
        how = deed or Deed("finished")
        file = self._file(head)
        rules.require_in_scope(file.unit)
        template = file.require_rules().check(check)
        where = f"{head}, {check}"
        refuse_closed(reasons_not_to_check(file, template), where)
        self._require_evidence(file.unit.job, how.evidence)
        answers = answers_of(file, check)
        refuse_closed(
            (*_unanswered(template, answers), *_evidence_missing(file, template, how.evidence)),
            where,
        )
        reasons = tuple(
            reason
            for reading in template.readings
            for reason in _against(file, reading, answers[reading.name])
        )
        row = shop.CheckResult(
            unit=head,
            check_id=check,
            passed=not reasons,
            reasons=list(reasons),
            measurements=sorted(answer.id for answer in answers.values()),
            evidence=list(how.evidence),
            fingerprint=file.fingerprint,
            done_at=self._moment(how.done_at, file.unit.job),
            who=self._who,
            at=self._at,
        )
        with self._keeping(head):
            self._add(row, "check.finish", f"check {check} of {head}")
            failed = [a for a in answers.values() if a.verdict is Verdict.FAIL]
            if failed:
                self._ask_about_failure(file, check, reasons)
        return self.checks(head, check)[-1]

    def _ask_about_failure(self, file: HeadFile, check: str, reasons: tuple[str, ...]) -> None:
        """Raise a nonconformance for a failed check, unless one is open."""
        for matter in file.of_kind(MatterKind.NONCONFORMANCE):
            is_open = matter.state is not NonconformanceState.CLOSED
            if is_open and getattr(matter.content, "check", None) == check:
                return
        template = file.require_rules().check(check)
        about = Nonconformance(
            text=f"{check} failed: {' '.join(reasons)}"[:600],
            severity=Severity.FUNCTION,
            checkpoint=template.checkpoint,
            check=check,
        )
        self.open_matter(file.unit.job, about, unit=file.unit.designation)

    def _add_measurement(
        self,
        head: str,
        check: str,
        answered: Answered,
        weighed: Weighed,
        before: MeasurementEntry | None,
        deed: Deed | None,
        moment: str,
    ) -> MeasurementEntry:
        quantity = answered.quantity
        words = answered.words
        row = shop.MeasurementRow(
            unit=head,
            check_id=check,
            reading=answered.reading,
            value=None if quantity is None else quantity.value,
            symbol=None if quantity is None else quantity.unit,
            yes=answered.yes,
            words=None if words is None else rules.plain_text(words, "answer"),
            standard_uncertainty=weighed.standard_uncertainty,
            instrument=answered.instrument,
            standing=weighed.standing,
            conditions=rules.plain_text(answered.conditions, "conditions"),
            limit_used=None if weighed.limit is None else weighed.limit.to_document(),
            verdict=weighed.verdict,
            conformance=weighed.conformance,
            rule=weighed.rule,
            note=weighed.note,
            supersedes=None if before is None else before.id,
            why=None if before is None or deed is None else rules.plain_text(deed.why, "reason"),
            done_at=moment,
            who=self._who,
            at=self._at,
        )
        self._add(row, "check.measure", f"check {check} of {head}", row.why)
        return self.measurements(head, check)[-1]


def _unanswered(
    template: CheckTemplate, answers: Mapping[str, MeasurementEntry]
) -> tuple[str, ...]:
    return tuple(
        f'"{reading.name}" is not answered'
        + (f"; it applies when {reading.only_if}." if reading.only_if else ".")
        for reading in template.readings
        if reading.name not in answers
    )


def _evidence_missing(
    file: HeadFile, template: CheckTemplate, evidence: tuple[str, ...]
) -> tuple[str, ...]:
    shown = {
        fact.shows
        for entry, fact in file.stated(EvidenceDetail)
        if fact.sha256 in evidence and entry.unit in {None, *file.unit_names}
    }
    return tuple(
        f"Evidence is missing: a {kind} of this head."
        for kind in template.evidence
        if kind not in shown
    )


def _against(file: HeadFile, reading: Reading, answer: MeasurementEntry) -> tuple[str, ...]:
    """Say why an answer does not support a pass."""
    if answer.note == "left out":
        return ()
    found = []
    if answer.verdict not in {None, Verdict.PASS}:
        found.append(f"{reading.name}: {answer.verdict}.")
    if answer.limit is None and reading.limit_from is LimitFrom.HEAD_SPEC:
        found.append(f"{reading.name}: its limit stands in the head's numbers; state it first.")
    if answer.limit is not None:
        standing = standing_now(file, answer)
        if standing is not None and not standing.supports_a_verdict:
            found.append(f"{reading.name}: {standing}.")
        if (doubt := doubt_about(file, answer)) is not None:
            found.append(f"{doubt}.")
    return tuple(found)
