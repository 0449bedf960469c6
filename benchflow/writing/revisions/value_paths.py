"""The paths of figures in a procedure file: from the operation to the key that states them."""

from benchflow.procedure.model import Procedure, RecordedValue, values_of

FilePath = tuple[str | int, ...]
"""Keys, and indexes from 0."""


def limit_path(procedure: Procedure, operation: str, name: str) -> FilePath:
    """The path of the limit of a value of an operation; ``()`` if it has none of that name."""
    found = procedure.operations_by_id.get(operation)
    for value in () if found is None else values_of(found):
        if value.name == name:
            return ("record" if isinstance(value, RecordedValue) else "work-out", name, "limit")
    return ()


def path_text(path: FilePath) -> str:
    """A path for people: ``record.gap.limit``, ``tighten.stages[2].torque``."""
    text = ""
    for step in path:
        text += f"[{step + 1}]" if isinstance(step, int) else f"{'.' if text else ''}{step}"
    return text
