# SPDX-License-Identifier: MIT
"""The JSON Schemas against the samples, judged by the jsonschema package."""

import copy
import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from test_cli import RESULT_KEYS

from sagline.cli import main
from sagline.records import Record

SAMPLES = Path(__file__).parents[1] / "samples"
QUANTITY = {"value", "u", "dof", "k", "low95", "high95"}


@pytest.fixture
def schema(capsys):
    def print_(*arguments):
        assert main(["schema", *arguments]) == 0
        found = json.loads(capsys.readouterr().out)
        assert found["$schema"] == "https://json-schema.org/draft/2020-12/schema"
        Draft202012Validator.check_schema(found)
        return found

    return print_


def sample(name):
    return json.loads((SAMPLES / f"{name}-v1.json").read_bytes())


@pytest.mark.parametrize("name", ["result", "record", "hand"])
def test_the_sample_is_valid_and_what_lacks_a_key_is_not(schema, name):
    document = sample(name)
    if name == "record":
        # As it would be written now: what came later has its default.
        document = Record.model_validate(document).to_dict()
    either = Draft202012Validator(schema())
    alone = Draft202012Validator(schema(name, "--json"))
    for validator in (alone, either):
        assert list(validator.iter_errors(document)) == []
        for key in document:
            lacking = {k: v for k, v in document.items() if k != key}
            assert not validator.is_valid(lacking), key


def test_a_result_has_every_key_and_quantities_are_whole(schema):
    found = schema("result")
    assert list(sample("result")) == RESULT_KEYS
    assert set(found["required"]) == set(found["properties"]) == set(RESULT_KEYS)
    parts = found["$defs"]
    assert set(parts["Quantity"]["required"]) == QUANTITY
    assert set(parts["ResistanceAt"]["required"]) == QUANTITY | {"t_s"}
    assert set(parts["OhmicPart"]["required"]) == QUANTITY | {"from_s"}
    assert set(parts["Line"]["required"]) == {"emf_v", "r_ohm", "covariance", "points", "t_s"}
    assert set(parts["LinePoint"]["required"]) == {"load_ohm", "current_a", "v_v"}
    assert set(parts["Repeat"]["required"]) == {"n", "r_ohm", "emf_v", "kept", "reason"}
    assert parts["Line"]["properties"]["emf_v"] == {"$ref": "#/$defs/Quantity"}
    assert parts["Line"]["properties"]["covariance"]["type"] == "number"


@pytest.mark.parametrize(
    ("path", "bad"),
    [
        (("emf_v",), 1.5),
        (("emf_v", "value"), None),
        (("r_ohm", "t_s"), "0.1"),
        (("r_at", 0), None),
        (("repeats", 0, "kept"), "yes"),
        (("budget", 0, "type"), "C"),
        (("kind",), "guess"),
        (("schema",), "sagline-result-2"),
    ],
)
def test_a_wrong_value_is_not_valid(schema, path, bad):
    document = copy.deepcopy(sample("result"))
    place = document
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = bad
    assert not Draft202012Validator(schema("result")).is_valid(document)


def test_a_document_that_there_is_not(capsys):
    assert main(["schema", "nothing"]) == 2
    assert "result" in capsys.readouterr().err
