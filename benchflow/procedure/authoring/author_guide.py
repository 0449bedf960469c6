"""The author's guide as Markdown, made from the keys that the reader uses."""

from textwrap import fill
from typing import Any

from benchflow.procedure.authoring.guide_introduction import INTRODUCTION
from benchflow.procedure.authoring.guide_of_blocks import BLOCKS_SECTION
from benchflow.procedure.blocks.block_keys import BLOCK
from benchflow.procedure.keys.procedure_keys import PROCEDURE
from benchflow.procedure.shapes.keyed_shapes import Key, KeyedShape
from benchflow.procedure.shapes.shape_base import Shape

_EVERY_KEY = """
## Every key

One table for each part of a procedure file and of a block file. A part is followed by the parts inside it:

"""


def author_guide() -> str:
    """The guide as Markdown: the notation, an example, blocks, and the keys of each part of a procedure and a block."""
    parts = parts_below(PROCEDURE)
    parts |= {name: keys for name, keys in parts_below(BLOCK).items() if name not in parts}
    titles = fill(" · ".join(_title(keys) for keys in parts.values()), 118)
    sections = (_section_of_mapping(keys) for keys in parts.values())
    return "\n".join([INTRODUCTION, BLOCKS_SECTION, f"{_EVERY_KEY}{titles}\n", *sections])


def parts_below(shape: Shape[Any]) -> dict[str, KeyedShape[Any]]:
    """The shapes of all mappings with fixed keys in ``shape``, by name. Each is followed by those inside it."""
    found: dict[str, KeyedShape[Any]] = {}
    waiting: list[Shape[Any]] = [shape]
    while waiting:
        current = waiting.pop()
        if isinstance(current, KeyedShape) and found.setdefault(current.name, current) is not current:
            continue
        waiting.extend(reversed(current.parts()))
    return found


def _title(keys: KeyedShape[Any]) -> str:
    whole = keys.noun.startswith("`") and keys.noun.endswith("`") and keys.noun.count("`") == 2
    noun = keys.noun[1:-1] if whole else keys.noun
    return f"{noun[0].upper()}{noun[1:]}"


def _section_of_mapping(keys: KeyedShape[Any]) -> str:
    lines = [f"### {_title(keys)}", "", "| key | value | meaning |", "|---|---|---|"]
    lines += [_row(key, keys) for key in keys.keys.values()]
    if keys.one_of:
        lines += ["", f"Write exactly one of {', '.join(f'`{key.name}`' for key in keys.one_of)}."]
    return "\n".join([*lines, ""])


def _row(key: Key[Any], keys: KeyedShape[Any]) -> str:
    required = " **Required.**" if key.required else ""
    description = f"{key.description}{required}".replace("|", "\\|")
    noun = key.shape.noun.replace("|", "\\|")
    return f"| `{key.name}` | {noun} | {description} |"
