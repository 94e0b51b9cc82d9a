"""What the data mean: every document fits its schema, every column and metric is explained."""

import csv
import io
import json
from fnmatch import fnmatch

import jsonschema
import pytest

from spinproof.dossier.curves import COLUMNS
from spinproof.dossier.dictionary import DICTIONARY_FILE, FIELDS, SCHEMAS
from spinproof.record.trace_file import CLOCK_COLUMN, TIME_COLUMN


@pytest.fixture(scope="module")
def lines(package):
    table = csv.DictReader(io.StringIO((package / DICTIONARY_FILE).read_text("utf-8")))
    assert tuple(table.fieldnames) == FIELDS
    return list(table)


def test_every_json_document_of_a_package_fits_the_schema_that_lies_beside_it(package):
    seen = set()
    for path in sorted(package.rglob("*.json")):
        name = path.relative_to(package).as_posix()
        if name.startswith("schemas/"):
            continue
        (kind,) = [kind for kind, (files, _) in SCHEMAS.items() if fnmatch(name, files)]
        schema = json.loads((package / f"schemas/{kind}.schema.json").read_bytes())
        jsonschema.Draft202012Validator.check_schema(schema)
        jsonschema.Draft202012Validator(schema).validate(json.loads(path.read_bytes()))
        seen.add(kind)

    assert seen == set(SCHEMAS)


def test_a_document_that_was_bent_does_not_fit(package):
    schema = json.loads((package / "schemas/judgement.schema.json").read_bytes())
    document = json.loads(next(iter((package / "judgements").iterdir())).read_bytes())
    with pytest.raises(jsonschema.ValidationError, match="outcome"):
        jsonschema.Draft202012Validator(schema).validate(
            {key: value for key, value in document.items() if key != "outcome"}
        )


def test_every_metric_of_every_judgement_is_explained_with_its_unit(package, lines):
    explained = {(line["name"], line["unit"]) for line in lines}
    for path in (package / "judgements").iterdir():
        for metric in json.loads(path.read_bytes())["metrics"]:
            assert (metric["name"], metric["unit"]) in explained


def test_the_columns_of_traces_and_curves_are_explained(package, lines):
    names = {line["name"] for line in lines}
    curve = next(iter((package / "curves").iterdir())).read_text("utf-8").splitlines()[0]

    assert set(curve.split(",")) == set(COLUMNS) <= names
    assert {TIME_COLUMN, CLOCK_COLUMN} <= names
