"""Checks the value that is given for a parameter, by the kind of the parameter."""

from msgspec import Struct

from benchflow.procedure.blocks.block_keys import NAME_KINDS, NUMBER, WrittenParameter
from benchflow.procedure.problems import Problem
from benchflow.procedure.shapes.basic_shapes import NAMED, PARAGRAPH, WordShape
from benchflow.procedure.shapes.quantity_shapes import read_bound, read_bound_or_count, read_quantity
from benchflow.procedure.shapes.reference_shapes import ReferenceShape
from benchflow.procedure.shapes.shape_base import ReadContext, scalar, wrong_kind
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar, YamlSequence
from benchflow.procedure.yaml_source.yaml_reader import ProblemList
from benchflow.quantity import Quantity
from benchflow.quantity.units import BASES, EXAMPLES

ASK = "ask"
"""The value of a figure that is still to be filled in."""


class Argument(Struct, frozen=True):
    """The value of a parameter. ``node`` is ``None`` if it is not given; ``quantity`` is set for a quantity.

    ``unreadable`` means that it does not fit the kind, which is reported.
    """

    parameter: WrittenParameter
    node: YamlNode | None
    quantity: Quantity | None = None
    unreadable: bool = False

    @property
    def is_asked(self) -> bool:
        """True if the figure is still to be filled in."""
        return _may_be_asked(self.parameter) and _is_ask(self.node)

    @property
    def varies(self) -> bool:
        """True for a value with `by`, which depends on an option or a place."""
        return _varies(self.node)

    @property
    def in_words(self) -> str:
        """A figure that is still to be filled in, in a text: "the torque that is asked for"."""
        return f"the {self.parameter.kind} that is asked for"


def argument(parameter: WrittenParameter, node: YamlNode) -> tuple[Argument, list[Problem]]:
    """The argument for a given node, and the problems of the node at its own line and column."""
    problems = ProblemList("")
    context = ReadContext(problems)
    quantity = None
    if _may_be_asked(parameter):
        node = _without_key(parameter, node)
    if parameter.is_list:
        if not isinstance(node, YamlSequence):
            node = YamlSequence([node], node.line, node.column, node.origin)
        for item in node.items:
            _check(parameter, item, context)
    else:
        quantity = _check(parameter, node, context)
    return Argument(parameter, node, quantity, bool(problems.all)), problems.all


def _check(parameter: WrittenParameter, node: YamlNode, context: ReadContext) -> Quantity | None:
    """Check one value. Returns it if it is a quantity."""
    kind = parameter.kind
    if isinstance(node, YamlScalar) and node.is_empty:
        wrong_kind(node, noun_of(parameter), context)
        return None
    if kind == "anything":
        return None
    if isinstance(node, YamlMapping) and _varies(node):
        for key, branch in node.pairs:
            if key.text != "by":
                _check(parameter, branch, context)
        return None
    if kind in BASES or kind == NUMBER:
        if _is_ask(node):
            return None
        written = scalar(node, noun_of(parameter), context)
        return None if written is None else read_quantity(written, context, "" if kind == NUMBER else kind)
    if kind == "limit":
        written = None if _is_ask(node) else scalar(node, noun_of(parameter), context)
        if written is not None and parameter.of:
            read_bound(written, context, parameter.of[0], difference=None)
        elif written is not None:
            read_bound_or_count(written, context, difference=None)
    elif kind == "choice":
        WordShape(*parameter.of).read(node, context)
    elif kind == "name":
        NAMED.read(node, context)
    elif kind in NAME_KINDS:
        ReferenceShape(kind, noun_of(parameter)).read(node, context)
    else:
        PARAGRAPH.read(node, context)
    return None


def noun_of(parameter: WrittenParameter) -> str:
    """What is expected for a parameter: "a torque such as 40 N·m"."""
    kind = parameter.kind
    if kind in BASES:
        return f"a quantity such as {EXAMPLES[kind]}"
    if kind in NAME_KINDS:
        return f"the name of {'an' if kind[0] in 'aeiou' else 'a'} {kind}"
    return {NUMBER: "a number", "limit": "a limit such as 0.10 .. 0.28 mm", "name": "a new name"}.get(kind, "a value")


def _may_be_asked(parameter: WrittenParameter) -> bool:
    """True for a figure, which can be given as `ask`."""
    return parameter.kind in BASES or parameter.kind in (NUMBER, "limit")


def _without_key(parameter: WrittenParameter, node: YamlNode) -> YamlNode:
    """``{torque: ask}``, as it is written in a stage, is `ask` for a torque. Any other node is returned unchanged."""
    if isinstance(node, YamlMapping) and len(node.pairs) == 1:
        key, value = node.pairs[0]
        if key.text == parameter.kind and _is_ask(value):
            return value
    return node


def _varies(node: YamlNode | None) -> bool:
    return isinstance(node, YamlMapping) and any(key.text == "by" for key, _ in node.pairs)


def _is_ask(node: YamlNode | None) -> bool:
    return isinstance(node, YamlScalar) and node.text.strip() == ASK
