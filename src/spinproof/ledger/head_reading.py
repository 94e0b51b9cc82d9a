"""Putting together everything on record about one head."""

import json
from collections.abc import Mapping, Sequence
from datetime import date
from functools import lru_cache
from typing import Any

from sqlalchemy import or_, select

from spinproof.ledger import shop_tables as tables
from spinproof.ledger.entries import RunEntry, UnitEntry, UnitKind
from spinproof.ledger.head_file import HeadFile, LoadFacts
from spinproof.ledger.loading import load_facts
from spinproof.ledger.shop_entries import AttestationEntry
from spinproof.ledger.shop_reading import ShopReading
from spinproof.model.head import HeadSpec, RotorAxis
from spinproof.model.load import Load
from spinproof.model.recipe import Recipe


class HeadReading(ShopReading):
    """One consistent view of the ledger that can open the file of a head."""

    def head_file(self, unit: str, today: date) -> HeadFile:
        """Give everything on record about a head, a shared module or a spare part.

        Parameters
        ----------
        unit : str
            Its designation.
        today : date
            Day by which waivers end.

        Returns
        -------
        HeadFile
            What rules look at and gates are decided from.
        """
        own = self.unit(unit)
        job, terms = self.job(own.job), self.terms(own.job)
        shared = self._shared_of(own)
        units = (unit, *((shared.designation,) if shared else ()))
        matter, check = tables.Matter, tables.CheckResult
        is_head = own.kind is UnitKind.HEAD
        configurations = self.configurations(unit) if is_head else ()
        campaigns = self.campaigns(unit) if is_head else ()
        runs = self.runs(unit) if is_head else ()
        return HeadFile(
            unit=own,
            shared=shared,
            terms=terms,
            order=job.order,
            today=today,
            rules=self._rules_of(terms),
            scope=self._scope_items(own.job),
            parts=self._parts_of(units),
            vacancies=self._vacancies(units),
            changes=self._changes(units),
            matters=self._matters(
                matter.job == own.job, or_(matter.unit.in_(units), matter.unit.is_(None))
            ),
            facts=self._facts_about(own.job, units),
            instruments={each.id: each for each in self.instruments()},
            measurements=self._measurements(tables.MeasurementRow.unit == unit),
            checks=self._checks(check.unit == unit),
            signatures=self._signatures(unit),
            configurations=configurations,
            configuration_documents={
                entry.fingerprint: _parse_document(self.document(entry.fingerprint))
                for entry in configurations
            },
            campaigns=campaigns,
            plan=self.plan(campaigns[-1]) if campaigns else None,
            runs=runs,
            attempts=self.attempts(unit) if runs else (),
            loads=self._loads(runs),
            evidence=self.evidence(own.job),
        )

    def _shared_of(self, unit: UnitEntry) -> UnitEntry | None:
        if unit.kind is not UnitKind.HEAD:
            return None
        return next(
            (
                other
                for other in self.units(unit.job)
                if other.machine == unit.machine and other.kind is UnitKind.SHARED_MODULE
            ),
            None,
        )

    def _facts_about(self, job: str, units: Sequence[str]) -> tuple[AttestationEntry, ...]:
        row = tables.AttestationRow
        wanted = select(row.id).where(
            or_(row.job == job, row.job.is_(None)),
            or_(row.unit.in_(units), row.unit.is_(None), row.kind == "evidence detail"),
        )
        return self._attestations(row.id.in_(wanted))

    def _loads(self, runs: tuple[RunEntry, ...]) -> Mapping[str, LoadFacts]:
        """Give what the loads of an off-axis head do to its rotor."""
        if not runs:
            return {}
        known: dict[tuple[str, str, str], LoadFacts | None] = {}
        for run in runs:
            key = (run.load_sha256, run.head_sha256, run.recipe_sha256)
            if key not in known:
                spec = _parse_spec(self.document(run.head_sha256))
                known[key] = (
                    load_facts(
                        self._document(run.load_sha256, Load),
                        spec,
                        self._document(run.recipe_sha256, Recipe),
                    )
                    if spec.axis is RotorAxis.OFF_AXIS
                    else None
                )
        facts = {
            run.name: known[(run.load_sha256, run.head_sha256, run.recipe_sha256)] for run in runs
        }
        return {name: fact for name, fact in facts.items() if fact is not None}


@lru_cache(maxsize=64)
def _parse_document(text: str) -> Mapping[str, Any]:
    content: Mapping[str, Any] = json.loads(text)
    return content


@lru_cache(maxsize=64)
def _parse_spec(text: str) -> HeadSpec:
    return HeadSpec.model_validate_json(text, strict=False)
