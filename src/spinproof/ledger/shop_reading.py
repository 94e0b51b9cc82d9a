"""Questions to the ledger about the shop floor: scope, parts, matters, instruments, checks."""

from collections.abc import Sequence
from functools import lru_cache
from typing import Any, NoReturn

from pydantic import TypeAdapter
from sqlalchemy import ColumnElement, select

from spinproof.ledger import shop_tables as tables
from spinproof.ledger.reading import Reading
from spinproof.ledger.shop_entries import (
    AttestationEntry,
    CalculationEntry,
    ChangeEntry,
    CheckEntry,
    MatterEntry,
    MatterStepEntry,
    Meaning,
    MeasurementEntry,
    PartEntry,
    PartStepEntry,
    ScopeEntry,
    ScopeStepEntry,
    SignatureEntry,
    TermsEntry,
    VacancyEntry,
)
from spinproof.ledger.states import PartState, state_of
from spinproof.ledger.tables import ScopeItem
from spinproof.model.attestation import Attestation
from spinproof.model.calculation import Calculation
from spinproof.model.check import Checkpoint
from spinproof.model.errors import RecordError
from spinproof.model.handover import ScopeState
from spinproof.model.instrument import (
    Calibration,
    InstrumentKind,
    InstrumentRecord,
    InterimCheck,
    MeasuringRange,
    Standing,
)
from spinproof.model.job import Process
from spinproof.model.judgement import Verdict
from spinproof.model.limit import Limit
from spinproof.model.matter import CONTENTS, MatterKind, StepDetail
from spinproof.model.part import Provenance
from spinproof.model.retest import Change
from spinproof.model.shop_rules import ShopRules

_ATTESTATION: TypeAdapter[Attestation] = TypeAdapter(Attestation)


class ShopReading(Reading):
    """One consistent view of the ledger with all that happens on the shop floor."""

    def terms(self, job: str) -> TermsEntry:
        """Give how a job is worked; a job without terms is burn-in only."""
        row = tables.Terms
        query = select(row).where(row.job == job).order_by(row.id.desc()).limit(1)
        found = self._session.scalar(query)
        if found is None:
            opened = self.job(job).opened_at
            return TermsEntry(job, Process.BURN_IN_ONLY, None, None, None, "", opened)
        return TermsEntry(
            job,
            Process(found.process),
            found.rules_sha256,
            found.required_runs,
            found.change_order,
            found.who,
            found.at,
        )

    def shop_rules(self, job: str) -> ShopRules | None:
        """Give positions, checks and re-test matrix of a job; None when it is burn-in only."""
        return self._rules_of(self.terms(job))

    def _rules_of(self, terms: TermsEntry) -> ShopRules | None:
        if terms.rules_sha256 is None:
            return None
        return _parse_rules(self.document(terms.rules_sha256))

    def scope_items(self, job: str) -> tuple[ScopeEntry, ...]:
        """Give the lines of a job's scope with their history, in order of their item."""
        self.job(job)
        return self._scope_items(job)

    def _scope_items(self, job: str) -> tuple[ScopeEntry, ...]:
        row = tables.ScopeStep
        steps: dict[str, list[tables.ScopeStep]] = {}
        for step in self._session.scalars(select(row).where(row.job == job).order_by(row.id)):
            steps.setdefault(step.item, []).append(step)
        query = select(ScopeItem).where(ScopeItem.job == job).order_by(ScopeItem.item)
        return tuple(
            _scope_entry(line, steps.get(line.item, [])) for line in self._session.scalars(query)
        )

    def parts(self, job: str) -> tuple[PartEntry, ...]:
        """Give the parts that were recorded in a job, in order of their tags."""
        self.job(job)
        return self._parts(tables.Part.job == job)

    def part(self, tag: str) -> PartEntry:
        """Give one part by its tag."""
        found = self._parts(tables.Part.tag == tag)
        if not found:
            _refuse_unknown("part", tag)
        return found[0]

    def parts_of(self, unit: str) -> tuple[PartEntry, ...]:
        """Give every part that ever sat in a head or shared module."""
        self.unit(unit)
        return self._parts_of((unit,))

    def _parts_of(self, units: Sequence[str]) -> tuple[PartEntry, ...]:
        sat = select(tables.PartStep.tag).where(tables.PartStep.unit.in_(units))
        return self._parts(tables.Part.tag.in_(sat))

    def tags(self) -> frozenset[str]:
        """Give the tags of all parts, to name the one that was meant."""
        return frozenset(self._session.scalars(select(tables.Part.tag)))

    def _parts(self, condition: ColumnElement[bool]) -> tuple[PartEntry, ...]:
        wanted = select(tables.Part.tag).where(condition)
        steps: dict[str, list[PartStepEntry]] = {}
        query = select(tables.PartStep).where(tables.PartStep.tag.in_(wanted))
        for row in self._session.scalars(query.order_by(tables.PartStep.id)):
            steps.setdefault(row.tag, []).append(_part_step(row))
        rows = self._session.scalars(select(tables.Part).where(condition).order_by(tables.Part.tag))
        return tuple(
            PartEntry(
                r.tag,
                r.job,
                r.code,
                r.words,
                r.serial,
                r.lot,
                r.material,
                r.donor_job,
                tuple(steps[r.tag]),
            )
            for r in rows
        )

    def vacancies(self, unit: str) -> tuple[VacancyEntry, ...]:
        """Give the positions of a head or shared module that were left empty, in order."""
        self.unit(unit)
        return self._vacancies((unit,))

    def _vacancies(self, units: Sequence[str]) -> tuple[VacancyEntry, ...]:
        row = tables.Vacancy
        query = select(row).where(row.unit.in_(units)).order_by(row.id)
        return tuple(
            VacancyEntry(r.unit, r.position, r.reason, r.done_at, r.who, r.at)
            for r in self._session.scalars(query)
        )

    def changes(self, unit: str) -> tuple[ChangeEntry, ...]:
        """Give the changes of a head or shared module, in order of time."""
        self.unit(unit)
        return self._changes((unit,))

    def _changes(self, units: Sequence[str]) -> tuple[ChangeEntry, ...]:
        row = tables.HeadChange
        query = select(row).where(row.unit.in_(units)).order_by(row.done_at, row.id)
        return tuple(
            ChangeEntry(
                r.unit,
                Change.from_document({"kind": r.kind, "name": r.name}),
                r.what,
                r.done_at,
                r.who,
                r.at,
            )
            for r in self._session.scalars(query)
        )

    def matters(
        self, job: str, kind: MatterKind | None = None, unit: str | None = None
    ) -> tuple[MatterEntry, ...]:
        """Give matters of a job in order, of one kind and one unit when asked."""
        self.job(job)
        conditions = [tables.Matter.job == job]
        if kind is not None:
            conditions.append(tables.Matter.kind == kind.value)
        if unit is not None:
            conditions.append(tables.Matter.unit == unit)
        return self._matters(*conditions)

    def matter(self, name: str) -> MatterEntry:
        """Give one matter by its name."""
        found = self._matters(tables.Matter.name == name)
        if not found:
            _refuse_unknown("finding, nonconformance, waiver, order or lock", name)
        return found[0]

    def _matters(self, *conditions: ColumnElement[bool]) -> tuple[MatterEntry, ...]:
        wanted = select(tables.Matter.name).where(*conditions)
        steps: dict[str, list[tables.MatterStep]] = {}
        query = select(tables.MatterStep).where(tables.MatterStep.matter.in_(wanted))
        for row in self._session.scalars(query.order_by(tables.MatterStep.id)):
            steps.setdefault(row.matter, []).append(row)
        matters = select(tables.Matter).where(*conditions)
        rows = self._session.scalars(matters.order_by(tables.Matter.kind, tables.Matter.number))
        return tuple(_matter_entry(row, steps[row.name]) for row in rows)

    def attestations(
        self, job: str | None = None, unit: str | None = None
    ) -> tuple[AttestationEntry, ...]:
        """Give the facts that were stated, of a job and a unit when asked, in order."""
        row = tables.AttestationRow
        conditions = [
            *([] if job is None else [row.job == job]),
            *([] if unit is None else [row.unit == unit]),
        ]
        return self._attestations(*conditions)

    def _attestations(self, *conditions: ColumnElement[bool]) -> tuple[AttestationEntry, ...]:
        query = select(tables.AttestationRow).where(*conditions)
        return tuple(
            AttestationEntry(
                r.id,
                r.job,
                r.unit,
                _ATTESTATION.validate_python(r.content, strict=False),
                tuple(r.evidence),
                r.done_at,
                r.who,
                r.at,
            )
            for r in self._session.scalars(query.order_by(tables.AttestationRow.id))
        )

    def calculations(
        self, job: str | None = None, unit: str | None = None
    ) -> tuple[CalculationEntry, ...]:
        """Give the calculations that are kept, with a job and a unit when asked, in order."""
        row = tables.CalculationRow
        return self._calculations(
            *([] if job is None else [row.job == self.job(job).name]),
            *([] if unit is None else [row.unit == self.unit(unit).designation]),
        )

    def calculation(self, number: int) -> CalculationEntry:
        """Give one calculation by its number."""
        found = self._calculations(tables.CalculationRow.id == number)
        if not found:
            _refuse_unknown("calculation", str(number))
        return found[0]

    def _calculations(self, *conditions: ColumnElement[bool]) -> tuple[CalculationEntry, ...]:
        query = select(tables.CalculationRow).where(*conditions)
        return tuple(
            CalculationEntry(r.id, r.job, r.unit, Calculation.from_document(r.content), r.who, r.at)
            for r in self._session.scalars(query.order_by(tables.CalculationRow.id))
        )

    def instruments(self) -> tuple[InstrumentRecord, ...]:
        """Give the instruments of the shop with their calibrations, in order of their names."""
        event = tables.InstrumentEvent
        events: dict[str, dict[str, list[dict[str, Any]]]] = {}
        for row in self._session.scalars(select(event).order_by(event.id)):
            events.setdefault(row.instrument, {}).setdefault(row.kind, []).append(row.content)
        rows = self._session.scalars(
            select(tables.InstrumentRow).order_by(tables.InstrumentRow.name)
        )
        return tuple(instrument_record(row, events.get(row.name, {})) for row in rows)

    def instrument(self, name: str) -> InstrumentRecord:
        """Give one instrument by the shop's mark on it."""
        found = [instrument for instrument in self.instruments() if instrument.id == name]
        if not found:
            _refuse_unknown("instrument", name)
        return found[0]

    def measurements(self, unit: str, check: str | None = None) -> tuple[MeasurementEntry, ...]:
        """Give the answers to readings on a head, of one check when asked, in order."""
        self.unit(unit)
        row = tables.MeasurementRow
        conditions = [row.unit == unit, *([] if check is None else [row.check_id == check])]
        return self._measurements(*conditions)

    def measured_with(self, instrument: str) -> tuple[MeasurementEntry, ...]:
        """Give every answer that stands on an instrument, in every job."""
        self.instrument(instrument)
        return self._measurements(tables.MeasurementRow.instrument == instrument)

    def _measurements(self, *conditions: ColumnElement[bool]) -> tuple[MeasurementEntry, ...]:
        query = select(tables.MeasurementRow).where(*conditions)
        rows = self._session.scalars(query.order_by(tables.MeasurementRow.id))
        return tuple(_measurement(row) for row in rows)

    def checks(self, unit: str, check: str | None = None) -> tuple[CheckEntry, ...]:
        """Give the checks that were called finished on a head, in order."""
        self.unit(unit)
        row = tables.CheckResult
        return self._checks(row.unit == unit, *([] if check is None else [row.check_id == check]))

    def _checks(self, *conditions: ColumnElement[bool]) -> tuple[CheckEntry, ...]:
        row = tables.CheckResult
        return tuple(
            CheckEntry(
                r.id,
                r.unit,
                r.check_id,
                r.passed,
                tuple(r.reasons),
                tuple(r.measurements),
                tuple(r.evidence),
                r.fingerprint,
                r.done_at,
                r.who,
                r.at,
            )
            for r in self._session.scalars(select(row).where(*conditions).order_by(row.id))
        )

    def signatures(self, unit: str) -> tuple[SignatureEntry, ...]:
        """Give the signatures of the gates of a head, in order."""
        self.unit(unit)
        return self._signatures(unit)

    def _signatures(self, unit: str) -> tuple[SignatureEntry, ...]:
        row = tables.Signature
        query = select(row).where(row.unit == unit).order_by(row.id)
        return tuple(
            SignatureEntry(
                r.id,
                r.unit,
                Checkpoint(r.checkpoint),
                Meaning(r.meaning),
                r.role,
                r.covers,
                tuple(sorted((key, str(value)) for key, value in r.covered.items())),
                r.fingerprint,
                tuple(r.waivers),
                r.done_at,
                r.who,
                r.at,
            )
            for r in self._session.scalars(query)
        )


@lru_cache(maxsize=8)
def _parse_rules(text: str) -> ShopRules:
    return ShopRules.model_validate_json(text, strict=False)


def _refuse_unknown(kind: str, name: str) -> NoReturn:
    raise RecordError(
        f"the ledger holds no such {kind}", where=f"{kind} {name}", mend="Check the spelling."
    )


def _scope_entry(line: ScopeItem, steps: list[tables.ScopeStep]) -> ScopeEntry:
    return ScopeEntry(
        line.job,
        line.item,
        line.unit,
        line.text,
        steps[-1].position if steps else None,
        ScopeState(line.state),
        line.consequence,
        tuple(
            ScopeStepEntry(
                ScopeState(s.state), s.why, tuple(s.evidence), s.change_order, s.who, s.at
            )
            for s in steps
        ),
    )


def _part_step(row: tables.PartStep) -> PartStepEntry:
    return PartStepEntry(
        PartState(row.state),
        row.unit,
        row.position,
        Provenance(row.provenance),
        row.why,
        tuple(row.evidence),
        row.done_at,
        row.who,
        row.at,
    )


def _matter_entry(row: tables.Matter, steps: list[tables.MatterStep]) -> MatterEntry:
    kind = MatterKind(row.kind)
    return MatterEntry(
        row.name,
        row.job,
        row.unit,
        kind,
        CONTENTS[kind].from_document(row.content),
        tuple(
            MatterStepEntry(
                state_of(kind, s.state),
                StepDetail.from_document(s.detail),
                s.why,
                tuple(s.evidence),
                s.done_at,
                s.who,
                s.at,
            )
            for s in steps
        ),
    )


def instrument_record(
    row: tables.InstrumentRow, events: dict[str, list[dict[str, Any]]]
) -> InstrumentRecord:
    """Put an instrument together with its history, by date.

    Parameters
    ----------
    row : InstrumentRow
        The instrument.
    events : dict of str to list
        Its calibrations, interim checks and later ranges, as stored.

    Returns
    -------
    InstrumentRecord
        The instrument with its history.
    """
    calibrations = [Calibration.from_document(each) for each in events.get("calibration", [])]
    spans = [*row.ranges, *events.get("range", [])]
    checks = [InterimCheck.from_document(each) for each in events.get("check", [])]
    return InstrumentRecord(
        id=row.name,
        kind=InstrumentKind(row.kind),
        words=row.words,
        ranges=tuple(MeasuringRange.from_document(each) for each in spans),
        calibrations=tuple(sorted(calibrations, key=lambda each: each.at)),
        checks=tuple(sorted(checks, key=lambda each: each.at)),
    )


def _measurement(row: tables.MeasurementRow) -> MeasurementEntry:
    return MeasurementEntry(
        row.id,
        row.unit,
        row.check_id,
        row.reading,
        row.value,
        row.symbol,
        row.yes,
        row.words,
        row.standard_uncertainty,
        row.instrument,
        Standing(row.standing) if row.standing else None,
        row.conditions,
        Limit.from_document(row.limit_used) if row.limit_used else None,
        Verdict(row.verdict) if row.verdict else None,
        row.conformance,
        row.rule,
        row.note,
        row.supersedes,
        row.why,
        row.done_at,
        row.who,
        row.at,
    )
