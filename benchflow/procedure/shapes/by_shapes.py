"""The shape of `{by: side, intake: 0.20 mm, exhaust: 0.30 mm}`. Reads an operation once for each choice of `by`.

While an operation is read, a :class:`ByShape` takes the branch of the current choice. :func:`read_variants`
reads the operation again for each combination of choices in it.
"""

from collections.abc import Callable
from typing import Any, TypeVar

from msgspec import Struct

from benchflow.base.plaintext import clean_line, listed
from benchflow.procedure.model import Ref
from benchflow.procedure.problems import hint_for
from benchflow.procedure.shapes.shape_base import (
    NOWHERE,
    Definitions,
    JsonSchema,
    ReadContext,
    Shape,
    scalar,
    short,
)
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar

T = TypeVar("T")

BY, ELSE = "by", "else"
RESERVED = frozenset((BY, ELSE))
"""No choice of an option and no place has one of these names."""

MOST_VARIANTS = 1000
"""The most variants of one operation that are read."""


def varies(node: YamlNode) -> bool:
    """True for a mapping with the key `by`."""
    return isinstance(node, YamlMapping) and any(key.text == BY for key, _ in node.pairs)


def first_branch(node: YamlNode) -> YamlNode:
    """The first branch of `{by: ...}` as written; ``node`` itself if it does not vary."""
    while varies(node):
        assert isinstance(node, YamlMapping)
        branches = [value for key, value in node.pairs if key.text != BY]
        if not branches:
            break
        node = branches[0]
    return node


class ByShape(Shape[T]):
    """What ``inner`` reads, or a mapping with `by` and an entry for each choice, each read by ``inner``.

    ``name`` is the name of its definition in the JSON Schema. ``plain`` reads a node without `by`, if that can be more
    than a branch can be. Only with ``readings`` may `by` name the set of places of the readings of a value.
    """

    def __init__(self, name: str, inner: Shape[T], *, plain: Shape[T] | None = None, readings: bool = False) -> None:
        self.name, self.inner, self.plain, self.readings = name, inner, plain or inner, readings
        self.noun = self.plain.noun

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> T | None:
        if not varies(node):
            return self.plain.read(node, context, name)
        branch = self._branch(node, context, report=True)
        while branch is not None and varies(branch):
            branch = self._branch(branch, context, report=True)
        return None if branch is None else self.inner.read(branch, context, name)

    def chosen_node(self, node: YamlNode, context: ReadContext) -> YamlNode:
        while varies(node):
            branch = self._branch(node, context, report=False)
            if branch is None:
                return node
            node = branch
        return self.plain.chosen_node(node, context)

    def _branch(self, node: YamlNode, context: ReadContext, *, report: bool) -> YamlNode | None:
        """The branch of the choice that is read now; ``None`` if the mapping is wrong, which is reported."""
        assert isinstance(node, YamlMapping)
        written = next(value for key, value in node.pairs if key.text == BY)
        if isinstance(written, YamlScalar) and clean_line(written.text) in context.unreadable_names:
            return None
        choices = self._choices(written, context, report=report)
        if not choices:
            return None
        branches = {clean_line(key.text): value for key, value in node.pairs if key.text != BY}
        if report:
            _check_keys(node, clean_line(getattr(written, "text", "")), choices, context)
        known = [choice for choice in choices if choice in branches or ELSE in branches]
        if not known:
            return None
        name = clean_line(getattr(written, "text", ""))
        if name not in context.varying.chosen:
            context.varying.open[name] = None
        choice = context.varying.chosen.get(name, known[0])
        return branches.get(choice, branches.get(ELSE))

    def _choices(self, written: YamlNode, context: ReadContext, *, report: bool) -> tuple[str, ...]:
        """The choices of what `by` names; ``()`` if it names nothing that is possible here."""
        if not report:
            return choices_of(clean_line(getattr(written, "text", "")), context)
        found = scalar(written, "an option, or a set of places", context)
        if found is None:
            return ()
        name = clean_line(found.text)
        at = context.varying
        sets = (*at.sets, *(at.readings if self.readings else ()))
        if name in context.option_choices and name in context.place_sets:
            message = f"`{name}` is an option and a set of places, so it is not clear what `by` means"
            context.problem("which-place", found.mark, message, "Rename one of the two")
            return ()
        if self.readings and name in at.sets and name in at.readings:
            message = f"`by: {short(name)}` could mean the place of the operation or the reading, because both have it"
            context.problem("which-place", found.mark, message, "Give the readings another set of places")
            return ()
        if name in context.option_choices or name in sets:
            return choices_of(name, context)
        if name in context.place_sets:
            what = "the operation is not repeated for each" if not self.readings else "neither operation nor value has"
            message = f"`by` names the set of places `{short(name)}`, but {what} `{short(name)}`"
            hint = f"Known names here: {listed([f'`{one}`' for one in possible], 'and')}" if (
                possible := [*context.option_choices, *sets]
            ) else f"Write `each: {name}` on the operation"  # fmt: skip
            context.problem("unknown-name", found.mark, message, hint)
        else:
            message = f"There is no option and no set of places `{short(name)}`"
            possible = [*context.option_choices, *sets]
            hint = hint_for(name, possible, "Define it under `options`, with its `choices`")
            context.problem("unknown-name", found.mark, message, hint)
        return ()

    def schema(self, definitions: Definitions) -> JsonSchema:
        branch = definitions.refer(f"by-{self.name}", lambda: self._by_schema(definitions))
        return {"anyOf": [self.plain.schema(definitions), branch]}

    def _by_schema(self, definitions: Definitions) -> JsonSchema:
        return {
            "type": "object",
            "required": [BY],
            "properties": {
                BY: {"type": ["string", "number", "boolean"], "description": "An option, or the set of places."}
            },
            "additionalProperties": {
                "anyOf": [self.inner.schema(definitions), {"$ref": f"#/$defs/by-{self.name}"}],
            },
            "minProperties": 2,
            "description": "What is written for each choice of an option, or for each place; `else` is for the rest.",
        }

    def parts(self) -> tuple[Shape[Any], ...]:
        return (self.plain, self.inner) if self.plain is not self.inner else (self.inner,)


def choices_of(name: str, context: ReadContext) -> tuple[str, ...]:
    """The choices of the option, or the places of the set; ``()`` if there is neither."""
    return context.option_choices.get(name) or context.place_sets.get(name, ())


def _check_keys(node: YamlMapping, name: str, choices: tuple[str, ...], context: ReadContext) -> None:
    """Report a key that is not a choice, and choices without an entry."""
    what = "choice" if name in context.option_choices else "place"
    written = {clean_line(key.text) for key, _ in node.pairs}
    for key, _ in node.pairs:
        if clean_line(key.text) not in (*choices, *RESERVED):
            hint = hint_for(clean_line(key.text), (*choices, ELSE))
            context.problem("unknown-name", key.mark, f"`{name}` has no {what} `{short(key.text)}`", hint)
    missing = [choice for choice in choices if choice not in written]
    if missing and ELSE not in written:
        names = listed([f"`{choice}`" for choice in missing[:8]], "and") + (" …" if len(missing) > 8 else "")
        context.problem(
            "not-covered",
            node.mark,
            f"`by: {name}` has no entry for {names}",
            f"Add `{missing[0]}: ...`, or `else: ...` for the rest",
        )


class ReadVariant(Struct, frozen=True):
    """What was read for one combination of choices. ``nodes`` are the nodes that later checks look up."""

    choices: dict[str, str]
    value: Any
    nodes: dict[Any, YamlNode]


def read_variants(
    read: Callable[[], object], is_own: Callable[[str], bool], context: ReadContext, most: int = MOST_VARIANTS
) -> list[ReadVariant] | None:
    """Call ``read`` for each combination of the choices of the names with ``is_own``; ``None`` if they are too many.

    Without `by`, it is called once. A name that is not ``is_own`` is left to the caller around this one.
    """
    varying, nodes = context.varying, context.nodes
    outer_chosen, outer_open = varying.chosen, varying.open
    found: list[ReadVariant] = []
    waiting: list[dict[str, str]] = [{}]
    reads = 0
    while waiting and reads <= 2 * most:
        own, reads = waiting.pop(0), reads + 1
        varying.chosen, varying.open, context.nodes = {**outer_chosen, **own}, {}, {}
        value = read()
        met = [name for name in varying.open if is_own(name)]
        outer_open.update((name, None) for name in varying.open if not is_own(name))
        if met and not context.problems.full:
            waiting[:0] = [{**own, met[0]: choice} for choice in choices_of(met[0], context)]
        else:
            found.append(ReadVariant(own, value, context.nodes))
        varying.chosen, varying.open, context.nodes = outer_chosen, outer_open, nodes
    if waiting or len(found) > most:
        return None
    context.nodes.update(found[0].nodes)
    return found
