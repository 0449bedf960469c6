"""The content of a procedure for comparing two files: everything but where it is written."""

from collections.abc import Iterator
from typing import Any

import msgspec

from benchflow.procedure.model import Mark, Procedure

FROM_MAPPINGS = ("options", "state", "moves", "kit", "instruments", "joints", "failures")
"""Lists of the model that a file writes as mappings. The order of their entries has no meaning."""


def content(procedure: Procedure) -> dict[str, Any]:
    """All fields of a procedure without lines and columns. What has no order in the file has none here.

    The rules of `interference` hold all at once, so they are a set here. The sources of the figures are left out.
    """
    found: dict[str, Any] = _plain(procedure)
    del found["documents"], found["source"]
    for name in FROM_MAPPINGS:
        found[name] = {each.get("id") or each["name"]: each for each in found[name]}
    found["interference"] = sorted(found["interference"], key=repr)
    return found


def _plain(value: Any) -> Any:
    if isinstance(value, Mark):
        return None
    if isinstance(value, msgspec.Struct):
        return {
            "type": type(value).__name__,
            **{name: _plain(getattr(value, name)) for name in value.__struct_fields__},
        }
    if isinstance(value, dict):
        return {str(_plain(key)): _plain(each) for key, each in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(each) for each in value]
    if isinstance(value, frozenset):
        return sorted(_plain(each) for each in value)
    return value


def differences(one: Any, other: Any, path: str = "procedure") -> Iterator[str]:
    """The differences of two contents, one line each, with the path to it."""
    if isinstance(one, dict) and isinstance(other, dict):
        for key in one.keys() | other.keys():
            if key not in one or key not in other:
                yield f"{path}.{key}: only in the {'first' if key in one else 'second'}"
            else:
                yield from differences(one[key], other[key], f"{path}.{key}")
    elif isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        for at, (each, its) in enumerate(zip(one, other, strict=True)):
            named = each.get("id") or each.get("name") if isinstance(each, dict) else None
            yield from differences(each, its, f"{path}[{named or at}]")
    elif one != other or type(one) is not type(other):
        yield f"{path}: {one!r} and {other!r}"
