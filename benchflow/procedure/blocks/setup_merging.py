"""Adds the set-up of blocks to the top level of a procedure.

An entry that the procedure itself has is not changed. The same entry of two blocks is added once. Two blocks with
different entries of one name are reported.
"""

from collections.abc import Iterable
from typing import Protocol

from benchflow.procedure.blocks.block_keys import SETUP_KEYS
from benchflow.procedure.blocks.expansion_context import SetupPart
from benchflow.procedure.model import Mark
from benchflow.procedure.yaml_source.yaml_nodes import (
    UseSite,
    YamlMapping,
    YamlNode,
    YamlScalar,
    YamlSequence,
    child_of,
)

_LISTS = ("interference", "cautions", "follow-up")
_KIT = "kit"


class _Report(Protocol):
    def report(self, code: str, site: UseSite | None, file: str, mark: Mark, message: str, hint: str = "") -> None: ...


def content_of(node: YamlNode) -> object:
    """The content of a node without its place, to compare two nodes."""
    if isinstance(node, YamlScalar):
        return node.text
    if isinstance(node, YamlSequence):
        return [content_of(item) for item in node.items]
    return {key.text: content_of(value) for key, value in node.pairs}


def merge_setup(root: YamlMapping, parts: Iterable[SetupPart], context: _Report) -> None:
    """Add ``parts`` to the procedure ``root``."""
    merging = _SetupMerging(root, context)
    for part in parts:
        merging.add(part)


class _SetupMerging:
    def __init__(self, root: YamlMapping, context: _Report) -> None:
        self._root, self._context = root, context
        self._added: dict[tuple[str, str], SetupPart] = {}
        self._nodes: dict[tuple[str, str], YamlNode] = {}

    def add(self, part: SetupPart) -> None:
        if part.key in _LISTS:
            self._append(part)
        elif part.key == _KIT:
            for key, entries in self._pairs_of(part, part.node):
                self._add_entries(part, entries, (_KIT, key.text))
        else:
            self._add_entries(part, part.node, (part.key,))

    def _append(self, part: SetupPart) -> None:
        items = part.node.items if isinstance(part.node, YamlSequence) else [part.node]
        there = self._existing((part.key,), YamlSequence([], part.node.line, part.node.column, part.node.origin))
        if not isinstance(there, YamlSequence):
            return  # the reader reports the wrong kind
        known = [content_of(item) for item in there.items]
        there.items += [item for item in items if content_of(item) not in known]

    def _pairs_of(self, part: SetupPart, node: YamlNode) -> list[tuple[YamlScalar, YamlNode]]:
        if isinstance(node, YamlMapping):
            return node.pairs
        origin = node.origin
        file = "" if origin is None else origin.file
        message = f"The block `{part.block}` has no mapping under `{part.key}`"
        self._context.report(
            "wrong-kind", part.site, file, node.mark, message, "Write each entry as a name with a value"
        )
        return []

    def _add_entries(self, part: SetupPart, node: YamlNode, path: tuple[str, ...]) -> None:
        pairs = self._pairs_of(part, node)
        if not pairs:
            return
        there = self._existing(path, YamlMapping([], [], node.line, node.column, False, node.origin))
        if not isinstance(there, YamlMapping):
            return  # the reader reports the wrong kind
        for key, value in pairs:
            name = (".".join(path), key.text)
            old = child_of(there, key.text)
            if old is None:
                there.pairs.append((key, value))
                self._added[name], self._nodes[name] = part, value
            elif name in self._added and content_of(self._nodes[name]) != content_of(value):
                self._report_difference(name, part, value)

    def _report_difference(self, name: tuple[str, str], part: SetupPart, value: YamlNode) -> None:
        first = self._added[name]
        where = f"line {first.site.outermost.line}"
        who = "another use of it" if first.block == part.block else f"the block `{first.block}`"
        message = f"The block `{part.block}` has another `{name[1]}` under `{name[0]}` than {who} ({where})"
        origin = value.origin
        mark = value.mark if origin is None else Mark(origin.line, origin.column)
        hint = f"Write `{name[1]}` under `{name[0]}` in the procedure. The blocks then use that entry"
        file = "" if origin is None else origin.file
        if origin is not None and origin.within:  # a given value: the place of its placeholder in the block
            file, _, line = origin.within.rpartition(":")
            mark = Mark(int(line), 1)
        self._context.report("block-conflict", part.site, file, mark, message, hint)

    def _existing(self, path: tuple[str, ...], new: YamlNode) -> YamlNode:
        """The node at ``path`` in the procedure; ``new`` is added if there is none."""
        node: YamlNode = self._root
        for depth, key in enumerate(path):
            found = child_of(node, key)
            if found is None:
                found = new if depth + 1 == len(path) else YamlMapping([], [], new.line, new.column, False, new.origin)
                assert isinstance(node, YamlMapping)
                name = YamlScalar(key, new.line, new.column, True, None, origin=new.origin)
                node.pairs.insert(self._place(node, key) if depth == 0 else len(node.pairs), (name, found))
            if depth + 1 < len(path) and not isinstance(found, YamlMapping):
                return found
            node = found
        return node

    @staticmethod
    def _place(root: YamlMapping, key: str) -> int:
        """The index at which a new top-level key is written: in the usual order, before the sections."""
        later = {"sections", *SETUP_KEYS[SETUP_KEYS.index(key) + 1 :]} - {"cautions", "follow-up", "handover"}
        if key in ("follow-up", "handover"):
            return len(root.pairs)
        return next((at for at, (old, _) in enumerate(root.pairs) if old.text in later), len(root.pairs))
