"""Finds what an author gave to a block: the value under `with` that a node of the written-out text comes from."""

import re
from pathlib import Path

from msgspec import Struct

from benchflow.procedure.model import Mark
from benchflow.writing.revisions.procedure_file import ProcedureFile
from benchflow.writing.revisions.yaml_places import PlacedNode, operations_in, placed_nodes

_PLACEHOLDER = re.compile(r"\{\s*([A-Za-z][\w-]*)\s*\}")
_CALCULATED = re.compile(r"\{([^{}]*)\}")
_OPERATOR = re.compile(r"[*/(+]|\s-\s")


class TextWithParameter(Struct, frozen=True):
    """A text of a block with one parameter in it, such as ``at most {minutes} min``, and the text that it becomes."""

    form: str
    parameter: str
    text: str

    def given_by(self, text: str) -> str | None:
        """The value of the parameter that makes the block's text ``text``; ``None`` if none does."""
        pieces = _PLACEHOLDER.split(self.form)
        pattern = "".join(
            re.escape(piece) if number % 2 == 0 else f"(?P<{'given' if number == 1 else f'again{number}'}>.+?)"
            for number, piece in enumerate(pieces)
        )
        found = re.fullmatch(pattern, text.strip())
        return None if found is None or len(set(found.groups())) != 1 else found["given"].strip()


def author_node(file: ProcedureFile, node: PlacedNode) -> PlacedNode | None:
    """The node of the author's file that ``node`` of the written-out text is a copy of; ``None`` if a block has it."""
    source_map = file.loaded.source_map
    if source_map is None:
        return None
    place, block = source_map.origin_of(mark_of(file.loaded.text, node))
    found = _node_at(file.root, _place_of(file.text.plain, place), node.kind)
    if found is None or (found.kind == "text" and found.text != node.text):
        return None
    return found if not block or _is_given(file, found) else None


def _is_given(file: ProcedureFile, node: PlacedNode) -> bool:
    """True if the node is a value under `with` or `add`. A value fixed by a block has the place of the use itself."""
    use = use_around(file.root, node.start)
    given = [] if use is None else [use.get("with"), use.get("add")]
    return any(each is not None and each.start <= node.start < each.end for each in given)


def text_with_parameter(file: ProcedureFile, use: PlacedNode, node: PlacedNode) -> TextWithParameter | None:
    """The text of the block that ``node`` of the written-out text comes from, if one given parameter is in it."""
    given = {key.text: value.text for key, value in _given_to(use) if value.kind == "text"}
    for text in _block_texts(file, node):
        names = set(_PLACEHOLDER.findall(text))
        if len(names) == 1 and (name := names.pop()) in given:
            made = TextWithParameter(text, name, node.text)
            if made.given_by(node.text) == given[name]:
                return made
    return None


def calculated_from(file: ProcedureFile, use: PlacedNode, node: PlacedNode) -> tuple[str, PlacedNode] | None:
    """The formula of the block that ``node`` is calculated by, and the value under `with` that is in it."""
    texts = _block_texts(file, node)
    for text in texts if node.text not in texts else ():  # another text of the line may be the one with the formula
        found = _CALCULATED.search(text)
        if found is None or _OPERATOR.search(found[1]) is None:
            continue
        for key, value in _given_to(use):
            if re.search(rf"(?<![\w-]){re.escape(key.text)}(?![\w-])", found[1]):
                return found[0], value
    return None


def use_around(root: PlacedNode, place: int) -> PlacedNode | None:
    """The use of a block at this place: in a section, or at the top of the file."""
    uses = [node for node in operations_in(root) if node.get("use") is not None]
    top = root.get("use")
    if top is not None:
        uses += [each for each in (top.items if top.kind == "list" else [top]) if each.kind == "mapping"]
    return next((node for node in uses if node.start <= place < node.end), None)


def mark_of(text: str, node: PlacedNode) -> Mark:
    """The line and column of a node in a written-out text."""
    plain = text.replace("\r\n", "\n")
    return Mark(plain.count("\n", 0, node.start) + 1, node.start - plain.rfind("\n", 0, node.start))


def place_in_file(file: ProcedureFile, node: PlacedNode) -> tuple[int, str]:
    """The place in the author's file of ``node`` of the written-out text, and the file and line in the block."""
    if file.loaded.source_map is None:
        return 0, ""
    place, block = file.loaded.source_map.origin_of(mark_of(file.loaded.text, node))
    return _place_of(file.text.plain, place), block


def _given_to(use: PlacedNode) -> list[tuple[PlacedNode, PlacedNode]]:
    given = use.get("with")
    return [] if given is None else given.pairs


def _block_texts(file: ProcedureFile, node: PlacedNode) -> list[str]:
    """The texts at the line of the block that ``node`` comes from."""
    name, _, number = place_in_file(file, node)[1].rpartition(":")
    try:
        text = file.block(Path(name)).text.plain
        root, line = placed_nodes(text), int(number)
    except (OSError, ValueError):
        return []
    found = [] if root is None else _texts(root)
    return [each.text for each in found if text.count("\n", 0, each.start) + 1 == line]


def _texts(node: PlacedNode) -> list[PlacedNode]:
    if node.kind == "text":
        return [node]
    if node.kind == "list":
        return [text for each in node.items for text in _texts(each)]
    if node.flow and len(node.pairs) == 1 and not node.pairs[0][1].text and node.pairs[0][1].kind == "text":
        key = node.pairs[0][0]  # `{final / 3}` without quotes
        return [PlacedNode("text", node.start, node.end, node.column, f"{{{key.text}}}")]
    return [text for _, value in node.pairs for text in _texts(value)]


def _place_of(text: str, mark: Mark) -> int:
    lines = text.split("\n")
    return sum(len(line) + 1 for line in lines[: mark.line - 1]) + mark.column - 1


def _node_at(node: PlacedNode, place: int, kind: str) -> PlacedNode | None:
    """The node of a kind that begins at a place. A mapping in block style begins with its first key."""
    if node.kind == kind and place in (node.start, *(key.start for key, _ in node.pairs[:1])):
        return node
    inner = [*node.items, *(value for _, value in node.pairs)]
    return next((found for each in inner if each.start <= place < each.end and (found := _node_at(each, place, kind))),
                None)  # fmt: skip
