"""The author's guide, as Markdown. The keys are those that the reader reads by: it is never behind."""

from typing import Any

from benchflow.procedure.authoring.guide_introduction import OPENING
from benchflow.procedure.keys.procedure_keys import PROCEDURE
from benchflow.procedure.shapes.keyed_shapes import Key, KeyedShape
from benchflow.procedure.shapes.shape_base import Shape


def author_guide() -> str:
    """How things are written, an example, and every key, part by part: what it is, what is written there, and whether
    it must be."""
    parts = parts_below(PROCEDURE)
    return "\n".join([OPENING, *(_part(keys) for keys in parts.values())])


def parts_below(shape: Shape[Any]) -> dict[str, KeyedShape[Any]]:
    """Every mapping with known keys that can stand at or below ``shape``, by its name, the outer before the inner."""
    found: dict[str, KeyedShape[Any]] = {}
    waiting: list[Shape[Any]] = [shape]
    while waiting:
        here = waiting.pop(0)
        if isinstance(here, KeyedShape) and found.setdefault(here.name, here) is not here:
            continue
        waiting.extend(here.parts())
    return found


def _part(keys: KeyedShape[Any]) -> str:
    noun = keys.noun.strip("`")
    lines = [f"## {noun[0].upper()}{noun[1:]}", "", "| key | what is written | meaning |", "|---|---|---|"]
    lines += [_row(key, keys) for key in keys.keys.values()]
    if keys.one_of:
        lines += ["", f"Exactly one of {', '.join(f'`{key.name}`' for key in keys.one_of)} is written."]
    return "\n".join([*lines, ""])


def _row(key: Key[Any], keys: KeyedShape[Any]) -> str:
    must = " **Required.**" if key.required else ""
    said = f"{key.says}{must}".replace("|", "\\|")
    noun = key.shape.noun.rstrip(",").replace("|", "\\|")
    return f"| `{key.name}` | {noun} | {said} |"
