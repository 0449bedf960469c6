"""The JSON Schema of a procedure file, made from the same keys that the reader reads by."""

from typing import Any

from benchflow.procedure.keys.procedure_keys import PROCEDURE
from benchflow.procedure.shapes.shape_base import Definitions


def json_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) for editors.

    It accepts every file that the reader accepts. What it cannot say is left to the reader: whether a name is given,
    what is wrong inside a quantity or a formula, keys written twice.
    """
    definitions = Definitions()
    root = PROCEDURE.schema(definitions)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "benchflow procedure",
        "description": "An assembly procedure: operations in order, what must hold, and what is measured.",
        **root,
        "$defs": dict(sorted(definitions.parts.items())),
    }
