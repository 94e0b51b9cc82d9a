"""The published JSON Schemas: true to the models, and fresh."""

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest
from tests.demo_files import DEMO_DATA

from spinproof.app.documents import schema_text
from spinproof.model.documents import KINDS

SCHEMAS = Path(__file__).parents[2] / "docs" / "schemas"
KIND_OF = {"channels": "channel-map"}


@pytest.mark.parametrize("kind", KINDS)
def test_published_schemas_are_fresh(kind: str):
    published = (SCHEMAS / f"{kind}.schema.json").read_text()

    assert published == schema_text(kind), "run: make schemas"


@pytest.mark.parametrize("path", sorted(DEMO_DATA.glob("*.toml")), ids=lambda path: path.name)
def test_the_demo_files_follow_the_published_schemas(path: Path):
    """An independent validator agrees with the models about what is right."""
    kind = path.name.split(".")[1]
    schema = json.loads((SCHEMAS / f"{KIND_OF.get(kind, kind)}.schema.json").read_text())

    jsonschema.Draft202012Validator(schema).validate(tomllib.loads(path.read_text()))


def test_the_published_schema_refuses_what_the_model_refuses():
    schema = json.loads((SCHEMAS / "recipe.schema.json").read_text())
    recipe = tomllib.loads((DEMO_DATA / "cr-1.recipe.toml").read_text())
    recipe["steps"][0]["duration_s"] = -1

    with pytest.raises(jsonschema.ValidationError, match="-1"):
        jsonschema.Draft202012Validator(schema).validate(recipe)
