"""The roles of texts in a block: which define a name of the block, and which refer to one.

``OWN`` is a definition. ``REF`` is the name of an operation, a value, a choice or a check, with or without a place.
``LIMIT`` and ``FORMULA`` are texts that contain names. ``PLAIN`` is any other text.
"""

import re
from collections.abc import Callable, Mapping

from msgspec import Struct

from benchflow.procedure.formula.expression import FormulaError, NameNode, walk
from benchflow.procedure.formula.formula_parser import parse_any_length

PLAIN, OWN, REF, LIMIT, FORMULA = "plain", "own", "ref", "limit", "formula"


class KeyRoles(Struct, frozen=True):
    """The roles in a mapping: ``fixed`` by its key; for other keys, ``names`` of the key and ``entry`` of its value."""

    fixed: "Mapping[str, Role]" = {}
    names: str = PLAIN
    entry: "Role" = PLAIN


Role = str | KeyRoles

_REMEDY = KeyRoles({"redo": REF, "restarts": REF})
_REMEDIES: dict[str, Role] = {"below": _REMEDY, "above": _REMEDY}
_FURTHER = KeyRoles({"limit": LIMIT, **_REMEDIES})
_VALUE = KeyRoles(
    {"is": FORMULA, "limit": LIMIT, "used": KeyRoles({"limit": LIMIT}, entry=LIMIT), "also": _FURTHER, **_REMEDIES}
)
_CHECK = KeyRoles({"id": OWN, "if not": _REMEDY})
OPERATION_ROLES = KeyRoles(
    {
        "id": OWN, "again": REF, "after": REF, "takes-apart": REF, "restarts": REF,
        "when": KeyRoles(names=REF),
        "time": KeyRoles(names=REF, entry=KeyRoles({"from": REF, "until": REF})),
        "temporary": KeyRoles({"restored-by": REF}),
        "record": KeyRoles(names=OWN, entry=_VALUE),
        "work-out": KeyRoles(names=OWN, entry=_VALUE),
        "choose": KeyRoles(names=OWN, entry=KeyRoles({"by": REF})),
        "match": KeyRoles(names=OWN, entry=KeyRoles({"measured": REF, "so that": REF})),
        "check": _CHECK,
        "tighten": KeyRoles({"stages": KeyRoles({"torque": FORMULA, **_REMEDIES})}),
    }
)  # fmt: skip
SETUP_ROLES = KeyRoles({"moves": KeyRoles(entry=KeyRoles({"restarts": REF}))})

_relative = re.compile(r"\s*above\s+([A-Za-z][\w-]*)")
_part = re.compile(r"[^.\[]+")


def renamed_reference(text: str, rename: Callable[[str], str]) -> str:
    """A reference such as ``seat``, ``seat[2]`` or ``refit.end-play`` with the new names."""
    name, bracket, rest = text.partition("[")
    return ".".join(rename(part) for part in name.split(".")) + bracket + rest


def renamed_in_limit(text: str, rename: Callable[[str], str]) -> str:
    """A limit such as ``above start-torque by 0.4 N·m`` with the new names."""
    found = _relative.match(text)
    return text if found is None else f"{text[: found.start(1)]}{rename(found[1])}{text[found.end(1) :]}"


def renamed_in_formula(text: str, rename: Callable[[str], str], given: list[tuple[int, int]]) -> str:
    """A formula with the new names. ``given`` are the parts of the text from the caller; they are not renamed."""
    try:
        names = [node for node in walk(parse_any_length(text).root) if isinstance(node, NameNode)]
    except FormulaError:
        return text  # the reader reports it
    for node in sorted(names, key=lambda each: -each.at):
        end = node.at + len(node.name)
        if text[node.at : end] == node.name and not any(low <= node.at and end <= high for low, high in given):
            text = text[: node.at] + renamed_reference(node.name, rename) + text[end:]
    return text
