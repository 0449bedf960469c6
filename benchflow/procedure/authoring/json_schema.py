"""JSON Schema of a procedure file and of a block file, made from the keys that the reader uses."""

from typing import Any

from benchflow.procedure.blocks.block_keys import BLOCK
from benchflow.procedure.keys.procedure_keys import PROCEDURE
from benchflow.procedure.shapes.keyed_shapes import KeyedShape
from benchflow.procedure.shapes.shape_base import Definitions


def json_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) for editors.

    It accepts every file that the reader accepts. Only the reader checks whether a name is defined, whether quantities
    and formulas are correct, and whether a key is written twice.
    """
    description = "An assembly procedure: operations, their order, the states they need, the values to measure."
    return _schema_of(PROCEDURE, "benchflow procedure", description)


def block_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of the file of a building block. The operations are free: they contain placeholders."""
    return _schema_of(BLOCK, "benchflow block", "A building block: operations and set-up with parameters.")


def _schema_of(keys: KeyedShape[Any], title: str, description: str) -> dict[str, Any]:
    definitions = Definitions()
    root = keys.schema(definitions)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": title,
        "description": description,
        **root,
        "$defs": dict(sorted(definitions.parts.items())),
    }
