"""What the data of a package mean: a dictionary for people, schemas for programs."""

import csv
import io
import json
from collections.abc import Mapping

from pydantic import TypeAdapter

from spinproof.dossier.curves import COLUMNS
from spinproof.dossier.evidence import EVIDENCE_FILE, EvidenceDocument
from spinproof.dossier.key_list import KEYS_FILE, KeyList
from spinproof.dossier.trail import HEAD_FILE, PROOFS_FILE, SignedTrailHead, TrailProofs
from spinproof.model.handover import ConfigurationEntry, RunRecord, ScopeLine
from spinproof.model.head import HeadSpec
from spinproof.model.judgement import Judgement
from spinproof.model.limit import LimitSet
from spinproof.model.metric_words import metric_words
from spinproof.model.plan import Plan
from spinproof.model.recipe import Recipe

DICTIONARY_FILE = "DICTIONARY.csv"
FIELDS = ("where", "name", "unit", "meaning")
_PARQUET = "runs/*.parquet"
_CURVES = "curves/*.csv"
_JUDGEMENTS = "judgements/*.json, metrics"

SCHEMAS: Mapping[str, tuple[str, TypeAdapter[object]]] = {
    "evidence": (EVIDENCE_FILE, TypeAdapter(EvidenceDocument)),
    "keys": (KEYS_FILE, TypeAdapter(KeyList)),
    "sth": (HEAD_FILE, TypeAdapter(SignedTrailHead)),
    "proofs": (PROOFS_FILE, TypeAdapter(TrailProofs)),
    "judgement": ("judgements/*.json", TypeAdapter(Judgement)),
    "recipe": ("inputs/recipe-*.json", TypeAdapter(Recipe)),
    "head": ("inputs/head-*.json", TypeAdapter(HeadSpec)),
    "limits": ("inputs/limits-*.json", TypeAdapter(LimitSet)),
    "plan": ("records/plan.json", TypeAdapter(Plan)),
    "scope": ("records/scope.json", TypeAdapter(list[ScopeLine])),
    "configurations": ("records/configurations.json", TypeAdapter(list[ConfigurationEntry])),
}
"""Each schema's name, the files that it describes, and the type behind it."""

_TRACE_ROWS = (
    ("time [ns]", "ns", "time since the first sample of the run"),
    ("device time [us]", "us", "the device's own clock, at the first sample of each block"),
    (
        "each other column",
        "1",
        "counts of a channel as the device sent them; its value is count times scale plus offset",
    ),
    (
        'metadata key "spinproof"',
        "",
        "JSON: run, recipe, head, load, instruments, and under header.channel_map.channels the "
        "scale, offset and unit of each column, and the count that means no reading",
    ),
)
_CURVE_MEANINGS = (
    ("s", "time since the first sample of the run"),
    ("", "the reading, thinned out for drawing; the full record is the trace"),
    ("", "unit of the reading"),
    ("", "which curve the reading belongs to"),
)


def dictionary(records: tuple[RunRecord, ...]) -> bytes:
    """Give the dictionary of a package's data as CSV after RFC 4180, UTF-8.

    Parameters
    ----------
    records : tuple of RunRecord
        The runs in it; each metric that one of them holds is explained once.

    Returns
    -------
    bytes
        One line a column or metric: where it is, its name, its unit and its meaning.
    """
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\r\n")
    table.writerow(FIELDS)
    for name, unit, meaning in _TRACE_ROWS:
        table.writerow((_PARQUET, name, unit, meaning))
    for name, (unit, meaning) in zip(COLUMNS, _CURVE_MEANINGS, strict=True):
        table.writerow((_CURVES, name, unit, meaning))
    units = {m.name: m.unit for record in records for m in record.judgement.metrics}
    for name in sorted(units):
        meaning = f"{metric_words(name)}; value and standard uncertainty in this unit"
        table.writerow((_JUDGEMENTS, name, units[name], meaning))
    for name, (files, _) in SCHEMAS.items():
        table.writerow((files, "the whole file", "", f"schema: schemas/{name}.schema.json"))
    return text.getvalue().encode()


def schemas() -> dict[str, bytes]:
    """Give the JSON Schemas (2020-12) of a package's documents, by their path in the package."""
    return {f"schemas/{name}.schema.json": _schema(kind) for name, (_, kind) in SCHEMAS.items()}


def _schema(kind: TypeAdapter[object]) -> bytes:
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", **kind.json_schema()}
    return json.dumps(schema, indent=1, ensure_ascii=False).encode() + b"\n"
