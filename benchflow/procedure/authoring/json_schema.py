"""JSON Schema of a procedure file, made from the keys that the reader uses."""

from typing import Any

from benchflow.procedure.keys.procedure_keys import PROCEDURE
from benchflow.procedure.shapes.shape_base import Definitions


def json_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) for editors.

    It accepts every file that the reader accepts. Only the reader checks whether a name is defined, whether quantities
    and formulas are correct, and whether a key is written twice.
    """
    definitions = Definitions()
    root = PROCEDURE.schema(definitions)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "benchflow procedure",
        "description": "An assembly procedure: operations, their order, the states they need, the values to measure.",
        **root,
        "$defs": dict(sorted(definitions.parts.items())),
    }
