"""The nodes of a YAML text with the places of their first and last character, for edits that keep the layout."""

from collections.abc import Iterator
from typing import Any, Literal

from msgspec import Struct

Kind = Literal["text", "list", "mapping"]


class PlacedNode(Struct):
    """A node of a YAML text. ``start`` and ``end`` are the places of its first character and after its last one.

    ``text`` is the value of a text, ``items`` are those of a list, ``pairs`` the keys and values of a mapping. ``flow``
    means written in brackets. ``column`` counts from 0.
    """

    kind: Kind
    start: int
    end: int
    column: int
    text: str = ""
    plain: bool = False
    flow: bool = False
    items: list["PlacedNode"] = []
    pairs: list[tuple["PlacedNode", "PlacedNode"]] = []

    def get(self, key: str) -> "PlacedNode | None":
        """The value of a key of a mapping; ``None`` if there is none."""
        return next((value for name, value in self.pairs if name.text == key), None)

    def at(self, path: tuple[str | int, ...]) -> "PlacedNode | None":
        """The node at a path of keys and indexes (from 0); ``None`` if there is none."""
        node: PlacedNode | None = self
        for step in path:
            if node is None:
                return None
            if isinstance(step, str):
                node = node.get(step) if node.kind == "mapping" else None
            elif node.kind == "list":
                node = node.items[step] if step < len(node.items) else None
            else:
                node = node if step == 0 else None  # a list of one may be written without brackets
        return node


def placed_nodes(text: str) -> PlacedNode | None:
    """The tree of a YAML text with ``\\n`` as line end; ``None`` if it is empty or is not YAML."""
    from ruamel.yaml import YAML
    from ruamel.yaml.error import YAMLError

    try:
        found = YAML(typ="safe", pure=True).compose(text)
    except (YAMLError, ValueError, OverflowError, RecursionError):
        return None
    return None if found is None else _node(found, text)


def _node(found: Any, text: str) -> PlacedNode:
    start, end = found.start_mark.index, found.end_mark.index
    column = found.start_mark.column
    kind = type(found).__name__
    if kind == "ScalarNode":
        return PlacedNode("text", start, _trimmed(text, start, end), column, found.value, found.style is None)
    flow = bool(found.flow_style)
    if kind == "SequenceNode":
        items = [_node(each, text) for each in found.value]
        last = end if flow or not items else items[-1].end
        return PlacedNode("list", start, last, column, flow=flow, items=items)
    pairs = [(_node(key, text), _node(value, text)) for key, value in found.value]
    for key, value in pairs:
        if value.kind == "text" and value.plain and not value.text:
            value.start = value.end = _after_colon(text, key.end)
    last = end if flow or not pairs else pairs[-1][1].end
    return PlacedNode("mapping", start, last, column, flow=flow, pairs=pairs)


def _trimmed(text: str, start: int, end: int) -> int:
    """``end`` without the white space before it: a text of several lines ends at the next node."""
    while end > start and text[end - 1].isspace():
        end -= 1
    return end


def _after_colon(text: str, end: int) -> int:
    """The place of an empty value: after the colon of its key, or after the key if it has none (``{final}``)."""
    at = end
    while at < len(text) and text[at] in " \t":
        at += 1
    return at + 1 if text[at : at + 1] == ":" else end


def operations_in(root: PlacedNode) -> Iterator[PlacedNode]:
    """The operations of a procedure, and its uses of blocks, in the order of the file."""
    sections = root.get("sections")
    for section in [] if sections is None else sections.items:
        operations = section.get("operations") if section.kind == "mapping" else None
        yield from (each for each in ([] if operations is None else operations.items) if each.kind == "mapping")


def operation_node(root: PlacedNode, operation: str) -> PlacedNode | None:
    """The operation with this id; ``None`` if the file itself does not have it."""
    for node in operations_in(root):
        ident = node.get("id")
        if ident is not None and ident.text == operation:
            return node
    return None


def path_of_place(root: PlacedNode, place: int) -> tuple[str, tuple[str | int, ...]] | None:
    """The operation and the path from it to the node that has this place; "" and the path from the top outside of one.

    ``None`` if no node has it.
    """
    path: list[str | int] = []
    operation = ""
    node = root
    while node.kind != "text":
        found: tuple[str | int, PlacedNode] | None = None
        if node.kind == "mapping":
            found = next(((key.text, value) for key, value in node.pairs if value.start <= place < value.end), None)
        else:
            found = next(((n, each) for n, each in enumerate(node.items) if each.start <= place < each.end), None)
        if found is None:
            return None
        path.append(found[0])
        node = found[1]
        ident = node.get("id") if node.kind == "mapping" and path[-2:-1] == ["operations"] else None
        if ident is not None:
            operation, path = ident.text, []
    return operation, tuple(path)
