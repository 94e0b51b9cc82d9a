"""Which column of a sheet holds what: heads as people write them, and the units in them."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from spinproof.files.sheet import SheetRow, column_name
from spinproof.model.errors import SheetError


class SheetKind(StrEnum):
    """What the rows of a sheet are."""

    PARTS = "parts"
    FINDINGS = "findings"
    MEASUREMENTS = "measurements"
    INSTRUMENTS = "instruments"


@dataclass(frozen=True)
class Column:
    """A column that the rows of a kind may have."""

    key: str
    heads: tuple[str, ...]
    """How people head it; the first is the one that is shown."""
    meaning: str
    needed: bool = False
    takes_unit: bool = False
    """Whether a unit may stand in its head, as in "value [mm]"."""


@dataclass(frozen=True)
class FoundColumn:
    """A column as it stands in a sheet."""

    place: int
    """Counted from 0."""
    head: str
    unit: str | None


_HEAD = Column(
    "head", ("head", "head or module"), "designation of head or shared module", needed=True
)
_TAG = ("tag", "part tag")
RANGES = ("", " 2", " 3")
"""What the heads of an instrument's ranges end with."""


def _range_columns(end: str) -> tuple[Column, ...]:
    return (
        Column(f"unit{end}", (f"unit{end}",), "unit of a range"),
        Column(f"from{end}", (f"from{end}", f"low{end}"), "its lower end"),
        Column(f"to{end}", (f"to{end}", f"high{end}"), "its upper end"),
        Column(f"step{end}", (f"step{end}", f"resolution{end}"), "smallest step shown"),
        Column(f"uncertainty{end}", (f"uncertainty{end}",), "standard uncertainty of a reading"),
    )


COLUMNS: Mapping[SheetKind, tuple[Column, ...]] = {
    SheetKind.PARTS: (
        Column("tag", _TAG, "tag with its check character", needed=True),
        _HEAD,
        Column("position", ("position", "position code"), "its code or name", needed=True),
        Column("provenance", ("provenance", "origin"), "kept, replaced with new, ...", needed=True),
        Column(
            "installed", ("installed", "installed on", "fitted", "fitted on"), "when", needed=True
        ),
        Column("part", ("part", "description"), "the part in words"),
        Column("serial", ("serial", "serial number", "serial no"), "its maker's serial"),
        Column("lot", ("lot", "batch"), "lot or batch"),
        Column("material", ("material",), "material"),
        Column("why", ("why", "reason"), "why it was fitted"),
    ),
    SheetKind.FINDINGS: (
        _HEAD,
        Column("finding", ("finding", "what was found"), "what was seen", needed=True),
        Column("severity", ("severity",), "safety, function or cosmetic", needed=True),
        Column("seen", ("seen", "seen on", "found on"), "when", needed=True),
        Column("position", ("position", "position code"), "its code or name"),
        Column("tag", _TAG, "tag of the part it was seen on"),
        Column("recommendation", ("recommendation", "recommended"), "what to do about it"),
    ),
    SheetKind.MEASUREMENTS: (
        _HEAD,
        Column("check", ("check", "check id"), "for example D-10", needed=True),
        Column("reading", ("reading", "what was read"), "name of the reading in the check"),
        Column(
            "value",
            ("value", "result", "measured value"),
            "number with unit, or yes",
            needed=True,
            takes_unit=True,
        ),
        Column("unit", ("unit", "units"), "unit of the value"),
        Column(
            "uncertainty",
            ("uncertainty", "standard uncertainty"),
            "standard uncertainty of a value that was worked out, in its unit",
        ),
        Column("instrument", ("instrument", "instrument id"), "the shop's mark on it"),
        Column("measured", ("measured", "measured on", "measured at"), "when", needed=True),
        Column("conditions", ("conditions",), "room and supplies, in words"),
    ),
    SheetKind.INSTRUMENTS: (
        Column("mark", ("mark", "instrument", "id"), "the shop's own mark on it", needed=True),
        Column("kind", ("kind", "what it is"), "for example dial gauge", needed=True),
        Column("words", ("words", "description"), "without maker or model"),
        *_range_columns(RANGES[0]),
        Column("calibrated", ("calibrated", "calibrated on"), "when"),
        Column("due", ("due", "calibration due"), "last day that it covers"),
        Column("certificate", ("certificate",), "of the last calibration"),
        Column("laboratory", ("laboratory",), "who calibrated it"),
        *_range_columns(RANGES[1]),
        *_range_columns(RANGES[2]),
    ),
}

_UNIT = re.compile(r"(.*?)\s*(?:[\[(](.+)[\])]|\bin\s+(\S+))")


def heads_of(kind: SheetKind) -> tuple[str, ...]:
    """Give the heads of an empty sheet.

    >>> heads_of(SheetKind.FINDINGS)[:3]
    ('head', 'finding', 'severity')
    """
    return tuple(column.heads[0] for column in COLUMNS[kind])


def find_columns(
    kind: SheetKind, header: SheetRow, where: str
) -> tuple[Mapping[str, FoundColumn], tuple[str, ...]]:
    """Find the columns of a sheet by its first row.

    Parameters
    ----------
    kind : SheetKind
        What its rows are.
    header : SheetRow
        The first row that holds something.
    where : str
        File and sheet, for messages.

    Returns
    -------
    tuple
        The columns by key, and which columns will not be used, in words.

    Raises
    ------
    SheetError
        If a needed column is missing, or two columns say that they hold the same.
    """
    found: dict[str, FoundColumn] = {}
    notices = []
    for place, head in enumerate(header.cells):
        name = f'column {column_name(place)} "{head.strip()}"'
        if (named := _column_of(kind, head)) is None:
            if head.strip():
                notices.append(f"{name} is not used")
            continue
        column, unit = named
        if column.key in found:
            raise SheetError(
                f'{name} and column {column_name(found[column.key].place)} are both "{column.key}"',
                where=f"{where}, row {header.number}",
                mend="Leave one of them, or head it otherwise.",
            )
        found[column.key] = FoundColumn(place, head.strip(), unit)
    _require_needed(kind, found, f"{where}, row {header.number}")
    return found, tuple(notices)


def _require_needed(kind: SheetKind, found: Mapping[str, FoundColumn], where: str) -> None:
    missing = [column for column in COLUMNS[kind] if column.needed and column.key not in found]
    if missing:
        named = ", ".join(f'"{column.heads[0]}" ({column.meaning})' for column in missing)
        raise SheetError(
            f"the first row does not head a column for {named}",
            where=where,
            mend=f"Head the columns: {', '.join(heads_of(kind))}.",
        )


def _column_of(kind: SheetKind, head: str) -> tuple[Column, str | None] | None:
    bare, unit = _tidy(head), None
    if parts := _UNIT.fullmatch(head.strip()):
        bare, unit = _tidy(parts[1]), (parts[2] or parts[3]).strip()
    for column in COLUMNS[kind]:
        if _tidy(head) in column.heads:
            return column, None
        if bare in column.heads:
            return column, unit if column.takes_unit else None
    return None


def _tidy(head: str) -> str:
    return re.sub(r"[\s_./:*-]+", " ", head).strip().casefold()
