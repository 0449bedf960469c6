"""The keys of a block file, of a parameter, and of `use` in a procedure."""

from typing import Any, TypeVar

from benchflow.procedure.keys.setup_keys import title_from_name
from benchflow.procedure.model import Mark, Ref
from benchflow.procedure.shapes.basic_shapes import (
    LABEL,
    LINE,
    MERGE,
    NAMED,
    PARAGRAPH,
    EitherShape,
    ListShape,
    MapShape,
)
from benchflow.procedure.shapes.basic_shapes import TransformedShape as Transformed
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape, scalar
from benchflow.procedure.yaml_source.yaml_nodes import (
    YamlMapping,
    YamlNode,
    YamlScalar,
    YamlSequence,
    child_of,
    key_marks,
)
from benchflow.quantity.units import BASES

T = TypeVar("T")
FORMAT = "1"
LIST = "list"
NUMBER = "number"
NAME_KINDS = (
    "joint", "part", "consumable", "instrument", "value", "operation", "places", "state", "failure", "option", "move",
)  # fmt: skip
"""Kinds of parameters that are names, which the procedure has to define."""
PLAIN_KINDS = ("text", "name", "limit", "choice", "anything")
KINDS = (*BASES, NUMBER, *PLAIN_KINDS, *NAME_KINDS)
NOT_GIVEN = "none"
"""The default of a parameter that may be left out, and the value in `add` that removes a key."""

SETUP_KEYS = (
    "documents", "units", "options", "places", "state", "interference", "moves", "kit", "instruments", "joints",
    "failures", "cautions", "follow-up", "handover",
)  # fmt: skip
"""Top-level keys of a procedure that a block can have too."""


def is_none(node: YamlNode | None) -> bool:
    """True for the word `none` without quotes: the parameter or the key is left out."""
    return isinstance(node, YamlScalar) and node.plain and node.text.strip() == NOT_GIVEN


class AnyNodeShape(Shape[YamlNode]):
    """Any YAML. It is read after the placeholders in it are filled in."""

    def __init__(self, noun: str, schema: JsonSchema | None = None) -> None:
        self.noun, self._schema = noun, schema or {}

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> YamlNode | None:
        return node

    def schema(self, definitions: Definitions) -> JsonSchema:
        return dict(self._schema)


class _BlockFormat(Shape[str]):
    noun = f"`{FORMAT}`, the version of the format of a block"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> str | None:
        found = scalar(node, self.noun, context)
        if found is not None and found.text != FORMAT:
            message = f"The block has format `{found.text[:20]}`, but this program reads format {FORMAT}"
            context.problem("unknown-format", found.mark, message, f"Write `benchflow-block: {FORMAT}`")
        return None if found is None else found.text

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"enum": [int(FORMAT), FORMAT]}


class _KindWord(Shape[str]):
    """The kind of a parameter."""

    noun = "a kind of parameter such as torque, text or joint"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> str | None:
        found = scalar(node, self.noun, context)
        if found is None:
            return None
        if found.text not in KINDS:
            hint = context.hint(found.text, KINDS, "")
            context.problem("not-one-of", found.mark, f"`{found.text[:40]}` is not a kind of parameter", hint)
            return None
        return found.text

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"enum": list(KINDS)}


_OF_LIST = Key(LIST, _KindWord(), "The kind of each item.", required=True)
_KIND_SHAPE: Shape[tuple[str, bool]] = EitherShape(
    "a kind such as torque, or {list: a kind}",
    text=Transformed(_KindWord(), lambda kind, node, name, context: (kind, False)),
    entries=KeyedShape(
        "list-kind",
        "a list of a kind",
        (_OF_LIST,),
        lambda fields: None if (kind := fields.get(_OF_LIST)) is None else (kind, True),
    ),
)
_KIND = Key(
    "kind",
    _KIND_SHAPE,
    "The kind of its value. A quantity has the name of its dimension: torque, angle, length, time, temperature and so "
    "on. Other kinds are `number`, `limit`, `text`, `name` (a new id), `choice` (with `of`) and `anything` (any "
    "YAML). The name of something in the procedure is a joint, part, consumable, instrument, value, operation, places, "
    "state, failure, option or move. `{list: KIND}` is a list of them.",
    required=True,
    examples=("torque", {"list": "operation"}),
)
_OF = Key(
    "of",
    ListShape(LABEL, at_least=1, distinct=True, single=True),
    "The possible values of a `choice`, or the dimension of a `limit`.",
    examples=(["dry", "oiled"], "length"),
)
_DEFAULT = Key(
    "default",
    AnyNodeShape("a value of the kind, or `none`"),
    "The value if the procedure gives none. It may name parameters that are written before it: `{joint}`. `none` means "
    "that it is left out, with every key, list item and operation that consists only of it.",
    examples=("engine oil", "none"),
)
_ASK = Key("ask", LINE, "What it is, as a question or a phrase, for the page of the block.")
_TEXT = Key("text", LINE, "What it is. The same as `ask`.")
_SAMPLE = Key(
    "sample",
    AnyNodeShape("a value of the kind"),
    "A value for the example on the page of the block. `benchflow check` expands the block with it.",
    examples=("90 N·m",),
)


class WrittenParameter:
    """A parameter of a block as written. ``default`` and ``sample`` are nodes, ``None`` if not written."""

    def __init__(self, fields: Fields) -> None:
        self.name = fields.name.name
        self.kind, self.is_list = fields.get_or(_KIND, ("anything", False))
        self.of = fields.get_or(_OF, ())
        self.default = fields.get(_DEFAULT)
        self.sample = fields.get(_SAMPLE)
        self.text = fields.get(_ASK) or fields.get(_TEXT) or title_from_name(self.name)
        self.mark = fields.mark
        if self.kind == "choice" and not self.of and fields.wrote(_KIND):
            fields.context.problem("missing-key", self.mark, f"The choice `{self.name}` has no `of`",
                                   "Add `of: [one, another]` with its possible values")  # fmt: skip
        if self.kind == "limit" and self.of and self.of[0] not in BASES:
            fields.problem("not-one-of", _OF, f"`{self.of[0]}` is not a dimension", "Write, for example, `of: length`")

    @property
    def optional(self) -> bool:
        return self.default is not None

    @property
    def may_be_left_out(self) -> bool:
        """True if its default is `none`, and `none` cannot be a value of it."""
        return is_none(self.default) and self.kind not in ("anything", "choice")

    @property
    def kind_text(self) -> str:
        """The kind as it is written: ``torque``, ``list of operation``."""
        return f"list of {self.kind}" if self.is_list else self.kind


def _short_parameter(kind: tuple[str, bool], node: YamlNode, name: Ref, context: ReadContext) -> WrittenParameter:
    written = YamlMapping([(YamlScalar("kind", node.line, node.column, True, None), node)], [], node.line,
                          node.column, False)  # fmt: skip
    fields = Fields(written, name, context)
    fields.values["kind"], fields.nodes["kind"] = kind, node
    return WrittenParameter(fields)


_PARAMETER: Shape[WrittenParameter] = EitherShape(
    "a parameter: its kind, or its keys",
    text=Transformed(_KIND_SHAPE, _short_parameter),
    entries=KeyedShape(
        "block-parameter", "a parameter", (_KIND, _OF, _DEFAULT, _ASK, _TEXT, _SAMPLE), WrittenParameter
    ),
)

_BLOCK = Key("benchflow-block", _BlockFormat(), "The version of the format of a block: 1.", required=True)
_ID = Key("id", NAMED, "The name of the block. The file has the same name: `studs-in-stages.yaml`.", required=True,
          examples=("studs-in-stages",))  # fmt: skip
_TITLE = Key("title", LINE, "The title of the block, on one line.")
_ABOUT = Key("about", PARAGRAPH, "When to use it, and what it assumes, for its page in the guide.")
_REPLACES = Key(
    "replaces",
    NAMED,
    "The same id, if the block replaces a block of this name in another folder, such as a shipped one.",
)
_TAKES = Key("takes", MapShape(_PARAMETER, "parameters by name"), "The parameters.")
_OPERATIONS = Key(
    "operations",
    AnyNodeShape("a list of operations", {"type": "array"}),
    "Its operations, with the keys of an operation in a procedure. Texts, names and values may contain `{PARAMETER}`, "
    "and `{Parameter}` for its text with a capital first letter. "
    "`given: PARAMETER` and `unless: PARAMETER` on an operation or a list item keep it only if the parameter is given "
    "or not; `given: {PARAMETER: VALUE}` only if it has that value.",
)
_SETUP = tuple(
    Key(
        name,
        AnyNodeShape("as in a procedure", {"type": ["object", "array"]}),
        f"`{name}` that its operations need, as in a procedure. The entries are added to the procedure. An entry "
        "of the same name in the procedure replaces the one of the block.",
    )
    for name in SETUP_KEYS
)
_NESTED_USE = Key(
    "use", AnyNodeShape("a list of blocks", {"type": ["array", "object", "string"]}), "Blocks whose set-up it needs."
)


class WrittenBlock:
    """A block file as written. ``operations`` and the values of ``setup`` are nodes with placeholders."""

    def __init__(self, fields: Fields) -> None:
        self.id = fields.get_or(_ID, "")
        self.id_mark = fields.at(_ID)
        self.title = fields.get_or(_TITLE, title_from_name(self.id))
        self.about = fields.get_or(_ABOUT, "")
        self.replaces = fields.get_or(_REPLACES, "")
        self.replaces_mark = fields.at(_REPLACES)
        self.takes: dict[str, WrittenParameter] = fields.get_or(_TAKES, {})
        self.operations = fields.get(_OPERATIONS)
        self.uses = fields.get(_NESTED_USE)
        self.setup = {key.name: node for key in _SETUP if (node := fields.get(key)) is not None}
        self.mark: Mark = fields.mark
        if not fields.wrote(_TITLE):
            hint = "Write a `title` for the list of blocks"
            fields.context.problem("missing-title", self.id_mark, "The block has no title", hint, "note")


BLOCK = KeyedShape(
    "block",
    "a block",
    (_BLOCK, _ID, _TITLE, _ABOUT, _REPLACES, _TAKES, _NESTED_USE, *_SETUP, _OPERATIONS),
    WrittenBlock,
    hints={"sections": "A block has no sections. Write `operations`", "parameters": "Write `takes`"},
)

USE = Key("use", NAMED, "The id of the block (`benchflow blocks` lists them).", required=True,
          examples=("studs-in-stages",))  # fmt: skip
WITH = Key(
    "with",
    MapShape(AnyNodeShape("a value of the kind of the parameter"), "values by parameter"),
    "The values of its parameters.",
    examples=({"joint": "head-studs", "final": "90 N·m"},),
)
AS = Key(
    "as",
    NAMED,
    "A prefix of the ids of the block: with `as: head` its operation `tighten` is `head-tighten`. So a block can be "
    "used more than once.",
    examples=("head",),
)
NAMES = Key(
    "names",
    MapShape(NAMED, "new ids by the ids of the block"),
    "New names for single ids of the block (operations, values, choices, checks), instead of the prefix.",
    examples=({"flatness": "head-flatness"},),
)
ADD = Key(
    "add",
    MapShape(AnyNodeShape("keys of the operation", {"type": "object"}), "operations of the block with keys to set"),
    "Keys of an operation that replace those of the block, by the id in the block. `none` deletes the key.",
    examples=({"tighten": {"takes": "20 min"}},),
)


class WrittenUse:
    """One use of a block as written."""

    def __init__(self, fields: Fields) -> None:
        self.block = fields.get_or(USE, "")
        self.mark = fields.nodes["use"].mark if "use" in fields.nodes else fields.mark
        self.given: dict[str, YamlNode] = fields.get_or(WITH, {})
        self.given_marks = key_marks(fields.nodes.get("with"))
        self.with_is_read = "with" not in fields.nodes or (
            fields.get(WITH) is not None and MERGE not in self.given_marks
        )
        self.prefix = fields.get_or(AS, "")
        self.names: dict[str, str] = fields.get_or(NAMES, {})
        self.name_marks = key_marks(fields.nodes.get("names"))
        self.add: dict[str, YamlNode] = fields.get_or(ADD, {})
        self.add_marks = key_marks(fields.nodes.get("add"))


USES_DESCRIPTION = (
    "Blocks whose set-up is needed (kit, instruments, joints ...). A block with operations is used in a section, "
    "among its operations."
)


class _NotHere(Shape[WrittenUse]):
    """A use of a block that is left when the text is read. Only a text that is not from a file has one."""

    noun = "the use of a block"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> WrittenUse | None:
        message = "A block cannot be looked up here, because this text is not read from a file"
        context.problem("unknown-name", node.mark, message, "Write the procedure out: benchflow expand FILE")
        return None

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"anyOf": [USE_ITEM.schema(definitions), NAMED.schema(definitions)]}

    def parts(self) -> tuple[Shape[Any], ...]:
        return (USE_ITEM,)


class OperationOrUse(Shape[T]):
    """An operation, or the use of a block in place of operations."""

    noun = "an operation, or the use of a block"

    def __init__(self, operation: Shape[T]) -> None:
        self._operation = operation

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> T | None:
        if child_of(node, "use") is None:
            return self._operation.read(node, context, name)
        USE_HERE.read(node, context)
        return None

    def schema(self, definitions: Definitions) -> JsonSchema:
        operation, use = self._operation.schema(definitions), USE_ITEM.schema(definitions)
        return {"if": {"type": "object", "required": ["use"]}, "then": use, "else": operation}

    def parts(self) -> tuple[Shape[Any], ...]:
        return (self._operation, USE_ITEM)


_USE_KEYS: tuple[Key[Any], ...] = (USE, WITH, AS, NAMES, ADD)
USE_ITEM = KeyedShape(
    "use",
    "the use of a block",
    _USE_KEYS,
    WrittenUse,
    hints={
        "id": "A block has its own ids. `as: PREFIX` or `names` changes them",
        "parameters": "Write the values under `with`",
        **dict.fromkeys(
            ("when", "needs", "uses", "takes", "hold", "cautions", "time"),
            "A use has no keys of an operation. Write them for one: `add: {OPERATION: {KEY: ...}}`",
        ),
        **dict.fromkeys(
            ("title", "do", "record", "check", "tighten"),
            "Write the use as an item of its own in the list `operations`, beside the operation",
        ),
        "each": "Put the use in a section with `each`, or write it for an operation: `add: {OPERATION: {each: ...}}`",
        **dict.fromkeys(("given", "unless"), "These are possible in a block only"),
        "replaces": "Write it in the file of the block",
        "<<": "Merge keys are not supported. Write the keys here",
        "after": "Give it to the block under `with` if it has such a parameter, or to an operation: "
        "`add: {OPERATION: {after: ...}}`",
    },
)
USE_HERE = _NotHere()
USES: Shape[tuple[WrittenUse, ...]] = ListShape(USE_HERE, single=True)
"""The uses under `use` at the top level."""


def use_items(node: YamlNode | None) -> list[YamlNode]:
    """The uses under the key `use` at the top level: one, or a list."""
    if node is None:
        return []
    return node.items if isinstance(node, YamlSequence) else [node]


def use_mapping(node: YamlNode) -> YamlMapping | None:
    """A use as a mapping: ``studs`` is short for ``{use: studs}``."""
    if isinstance(node, YamlMapping):
        return node
    if isinstance(node, YamlScalar) and not node.is_empty:
        key = YamlScalar("use", node.line, node.column, True, None, origin=node.origin)
        return YamlMapping([(key, node)], [], node.line, node.column, True, node.origin)
    return None
