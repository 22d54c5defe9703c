# SPDX-License-Identifier: MIT
"""JSON Schemas of the documents that sagline writes."""

from typing import Any

from pydantic import TypeAdapter
from pydantic.json_schema import GenerateJsonSchema

from sagline.calibrations import Calibration
from sagline.filerecord import FileRecord
from sagline.handrecord import HandRecord
from sagline.records import Record
from sagline.results import Result
from sagline.selftest.card import Card


def schema_of(document: str | None = None) -> dict[str, Any]:
    """Return the JSON Schema of the document of this name; None: of any of them."""
    kinds = {
        "result": Result,
        "record": Record,
        "hand": HandRecord,
        "file": FileRecord,
        "calibration": Calibration,
        "selftest": Card,
        None: Result | Record | HandRecord | FileRecord | Calibration | Card,
    }
    # As written, not as read: what is always there is required.
    schema = TypeAdapter(kinds[document]).json_schema(mode="serialization")
    return {"$schema": GenerateJsonSchema.schema_dialect, **schema}
