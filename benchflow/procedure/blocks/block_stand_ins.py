"""Makes values in place of missing samples from the kinds of the parameters, to check a block alone."""

from collections.abc import Iterator

from benchflow.procedure.blocks.block_file import Block
from benchflow.procedure.blocks.block_keys import NAME_KINDS, NUMBER, WrittenParameter
from benchflow.procedure.placeholders import PLACEHOLDER
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar, YamlSequence, child_of
from benchflow.quantity import dimension_of, parse_quantity
from benchflow.quantity.shown import with_unit
from benchflow.quantity.units import BASES, BY_SYMBOL, EXAMPLES

DEPEND_ON_FIGURES = frozenset(
    {
        "cannot-prove", "disagreeing-units", "falling-torque", "gap-in-table", "instrument-does-not-fit", "many-turns",
        "never-found", "overlap-in-table", "remedy-without-limit", "stage-order", "total-angle",
    }
)  # fmt: skip
"""Codes of problems that can come from the figures of stand-ins, such as two torques that are equal."""
FOLLOW_FROM_LEFT_OUT = frozenset(
    {
        "missing-key",
        "too-few",
        "empty-value",
        "remedy-without-limit",
        "never-carried-out",
        "which-reading",
        "bad-quantity",
        "missing-unit",
    }
)
"""Codes of problems that can come from a parameter that has no stand-in, and is left out."""


def stand_ins(block: Block) -> dict[str, YamlNode]:
    """A stand-in for each parameter without a sample or a default, if its kind is enough to make one.

    There is none for `anything`, and for a limit without a dimension that no value with a unit uses.
    """
    made = {}
    for name, each in block.takes.items():
        if each.sample is None and each.default is None:
            item = _stand_in(each, block)
            if item is not None:
                made[name] = YamlSequence([item], 0, 0) if each.is_list else item
    return made


def _stand_in(parameter: WrittenParameter, block: Block) -> YamlNode | None:
    kind = parameter.kind
    if kind in BASES:
        return _text(EXAMPLES[kind])
    if kind == NUMBER:
        return _text(EXAMPLES[""])
    if kind == "limit":
        dimension = parameter.of[0] if parameter.of else _dimension_of_limit(parameter.name, block)
        return None if dimension is None else _text(_limit_like(EXAMPLES[dimension]))
    if kind == "choice":
        return _text(parameter.of[0]) if parameter.of else None
    if kind == "text":
        return _text(parameter.name.replace("-", " "))
    if kind == "name" or kind in NAME_KINDS:
        return _text(f"{parameter.name}-example")
    return None


def _limit_like(example: str) -> str:
    """A limit with two ends: ``0.05 .. 0.10 mm`` for 0.05 mm."""
    found = parse_quantity(example)
    return f"{found.value} .. {with_unit(f'{2 * found.value}', found.unit)}"


def _dimension_of_limit(name: str, block: Block) -> str | None:
    """The dimension of the value whose `limit` or `used` is the parameter; ``None`` if its unit is not written."""
    for node in _mappings([*block.operations]):
        for key in ("limit", "used"):
            unit = child_of(node, "unit")
            if _is_only(child_of(node, key), name) and isinstance(unit, YamlScalar):
                symbol = unit.text.strip()
                if symbol == "count":
                    return ""
                return dimension_of(symbol) if symbol in BY_SYMBOL else None
    return None


def _is_only(node: YamlNode | None, name: str) -> bool:
    """True for ``{name}``, in quotes or without."""
    if isinstance(node, YamlScalar):
        found = PLACEHOLDER.fullmatch(node.text.strip())
        return found is not None and found[1] is not None and found[1].strip() == name
    return isinstance(node, YamlMapping) and [key.text for key, _ in node.pairs] == [name]


def _mappings(nodes: list[YamlNode]) -> Iterator[YamlMapping]:
    while nodes:
        node = nodes.pop()
        if isinstance(node, YamlSequence):
            nodes += node.items
        elif isinstance(node, YamlMapping):
            yield node
            nodes += [value for _, value in node.pairs]


def _text(text: str) -> YamlScalar:
    return YamlScalar(text, 0, 0, True, None)
