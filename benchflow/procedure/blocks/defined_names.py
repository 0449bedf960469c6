"""The names that a procedure defines, from its tree, to check the names that are given to blocks."""

from collections.abc import Iterator

from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar, YamlSequence, child_of

_TOP_LEVEL = {
    "joint": "joints", "instrument": "instruments", "places": "places", "state": "state", "failure": "failures",
    "option": "options", "move": "moves",
}  # fmt: skip
_IN_KIT = {"part": "parts", "consumable": "consumables"}


def defined_names(root: YamlNode) -> dict[str, list[str]]:
    """The names by the kind of parameter. Sections count as operations, because `after` can name them."""
    found = {kind: _keys(child_of(root, key)) for kind, key in _TOP_LEVEL.items()}
    found |= {kind: _keys(child_of(child_of(root, "kit"), key)) for kind, key in _IN_KIT.items()}
    operations = list(_operations(root))
    found["operation"] = [name for node in operations for name in _texts(child_of(node, "id"))]
    found["value"] = [
        name for node in operations for key in ("record", "work-out", "choose") for name in _keys(child_of(node, key))
    ]
    return found


def _operations(root: YamlNode) -> Iterator[YamlNode]:
    """The sections and their operations."""
    for section in _items(child_of(root, "sections")):
        yield section
        yield from _items(child_of(section, "operations"))


def _items(node: YamlNode | None) -> list[YamlNode]:
    return node.items if isinstance(node, YamlSequence) else []


def _keys(node: YamlNode | None) -> list[str]:
    return [key.text for key, _ in node.pairs] if isinstance(node, YamlMapping) else []


def _texts(node: YamlNode | None) -> list[str]:
    return [node.text] if isinstance(node, YamlScalar) else []
