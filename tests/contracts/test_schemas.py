"""The published schemas are sound and closed."""

import json

import pytest
from jsonschema import Draft202012Validator

from contracts.tracked import ROOT
from idlewright import IdlewrightError, schema
from idlewright.schemas import schema_names

PROMISED = {
    "class", "demo", "error", "gaps", "judge", "list", "practice", "predict", "speed", "study",
    "truth",
}  # fmt: skip
NAMES = list(schema_names())
SAMPLES = sorted((ROOT / "tests" / "unit" / "report" / "samples").glob("*.json"))


def objects(node):
    """Every object schema inside a schema."""
    if isinstance(node, dict):
        if "properties" in node:
            yield node
        for inner in node.values():
            yield from objects(inner)
    elif isinstance(node, list):
        for inner in node:
            yield from objects(inner)


def test_these_documents_are_published():
    """A schema for each document the program prints."""
    assert set(NAMES) >= PROMISED


@pytest.mark.parametrize("name", NAMES)
def test_each_schema_is_valid_2020_12(name):
    """It names the 2020-12 dialect, passes its own metaschema and pins the format's name."""
    found = schema(name)
    assert found["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(found)
    assert found["properties"]["format"] == {"const": f"idlewright/{name}/1"}


@pytest.mark.parametrize("name", NAMES)
def test_each_schema_is_closed(name):
    """Every object says which keys it has and takes no others, so that a stray key is seen."""
    found = list(objects(schema(name)))
    assert found
    assert all(node["additionalProperties"] is False for node in found)
    assert all(set(node["required"]) <= set(node["properties"]) for node in found)


def test_an_unknown_document_is_bad_input_that_names_the_known():
    """A name that is not there: BadInput with the names that are."""
    with pytest.raises(IdlewrightError, match="no schema for 'juge'") as caught:
        schema("juge")
    assert caught.value.exit_code == 2
    assert "judge" in str(caught.value)


def test_an_unknown_number_is_bad_input():
    """A number that was never released: BadInput."""
    with pytest.raises(IdlewrightError, match="number 7"):
        schema("judge", 7)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_what_the_reports_are_tested_with_is_as_published(path):
    """The sample answers behind the report tests are valid documents."""
    document = json.loads(path.read_text("utf-8"))
    if "format" not in document:
        assert path.stem == "record"
        return
    name = document["format"].split("/")[1]
    Draft202012Validator(schema(name)).validate(document)
