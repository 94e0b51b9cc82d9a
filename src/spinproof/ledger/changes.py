"""Changes of a head: what was changed since its last configuration, row by row."""

import json
from collections.abc import Iterable, Mapping
from typing import Any

from spinproof.ledger import shop_tables
from spinproof.ledger.matters import MatterRecords
from spinproof.ledger.states import PartState
from spinproof.model.configuration import Configuration
from spinproof.model.errors import GateClosedError
from spinproof.model.part import PositionSet
from spinproof.model.retest import Change, ChangeKind, changes_between
from spinproof.model.tag import parse_tag


class ChangeRecords(MatterRecords):
    """Rows that tell which parts, settings, programs and limits were changed."""

    def _add_change(self, unit: str, change: Change, what: str, moment: str) -> None:
        row = shop_tables.HeadChange(
            unit=unit,
            kind=change.kind.value,
            name=change.name,
            what=what,
            done_at=moment,
            who=self._who,
            at=self._at,
        )
        self._add(row, "head.change", f"unit {unit}", what)

    def parts_by_position(self, unit: str) -> dict[str, str]:
        """Give the tags of the parts that sit in a unit, by the code of their position."""
        return {
            step.position: part.tag
            for part in self.parts_of(unit)
            if (step := part.now).state is PartState.IN_POSITION
            and step.unit == unit
            and step.position is not None
        }

    def _require_parts_agree(self, head: str, document: Mapping[str, Any]) -> None:
        """Refuse a configuration whose parts are not those that the records have in the head.

        Raises
        ------
        GateClosedError
            If a position differs.
        """
        positions = self._positions(head)
        named = {
            positions.find(place).code: parse_tag(tag, self.tags())
            for place, tag in document["configuration"]["parts"].items()
        }
        held = self.parts_by_position(head)
        differing = [
            f"{code}: {named.get(code, 'empty')} here, {held.get(code, 'empty')} on record"
            for code in sorted({*named, *held})
            if named.get(code) != held.get(code)
        ]
        if differing:
            more = f"; and {len(differing) - 3} more" if len(differing) > 3 else ""
            raise GateClosedError(
                f"the parts are not those on record: {'; '.join(differing[:3])}{more}",
                where=f"configuration of head {head}",
                mend="Record what was fitted and removed first, or mend the file.",
            )

    def _add_changes_since(
        self, head: str, before: str, after: Mapping[str, Any], what: str
    ) -> None:
        """Write a row for everything but parts that two configurations differ in."""
        was = json.loads(self.document(before))
        for change in _differences(was, after, self._positions(head)):
            self._add_change(head, change, what, self._at)

    def _positions(self, head: str) -> PositionSet:
        return self._file(head).require_rules().positions


def _differences(
    was: Mapping[str, Any], now: Mapping[str, Any], positions: PositionSet
) -> Iterable[Change]:
    before, after = (Configuration.from_document(each["configuration"]) for each in (was, now))
    for change in changes_between(before, after, positions):
        if change.kind is not ChangeKind.PART:  # parts have rows of their own
            yield change
    for part, name in (("head", "head spec"), ("channels", "channel map")):
        if was.get(part) != now.get(part):
            yield Change(kind=ChangeKind.SETTING, name=name)
    limits = [_limits_by_metric(each) for each in (was, now)]
    for metric in sorted({*limits[0], *limits[1]}):
        if limits[0].get(metric) != limits[1].get(metric):
            yield Change(kind=ChangeKind.LIMIT, name=metric)


def _limits_by_metric(document: Mapping[str, Any]) -> dict[str, list[Any]]:
    found: dict[str, list[Any]] = {}
    for limit in document.get("limits", {}).get("limits", []):
        found.setdefault(limit["metric"], []).append(limit)
    return found
