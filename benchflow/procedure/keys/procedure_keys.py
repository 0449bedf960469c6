"""The keys at the top level of a procedure file."""

from typing import cast

from msgspec import Struct

from benchflow.procedure.blocks.block_keys import USES, USES_DESCRIPTION, OperationOrUse
from benchflow.procedure.keys.change_keys import CHANGES
from benchflow.procedure.keys.evidence_keys import WAIVE
from benchflow.procedure.keys.joint_keys import JOINTS
from benchflow.procedure.keys.operation_keys import OPERATION, check_placeholders
from benchflow.procedure.keys.setup_keys import (
    CAUTIONS_DESCRIPTION,
    FAILURES,
    FOLLOW_UP,
    INSTRUMENTS,
    INTERFERENCE,
    KIT,
    MOVES,
    OPTIONS,
    PLACES,
    STATE,
    UNITS,
    cautions,
)
from benchflow.procedure.keys.source_keys import DOCUMENTS
from benchflow.procedure.keys.value_keys import DECISION
from benchflow.procedure.keys.varying_operations import RepeatedShape
from benchflow.procedure.model import DecisionRule, Mark, Operation, Procedure, Ref
from benchflow.procedure.problems import hint_for
from benchflow.procedure.shapes.basic_shapes import LABEL, LINE, NAMED, PARAGRAPH, BooleanShape, ListShape, MapShape
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.reference_shapes import ReferenceShape
from benchflow.procedure.shapes.shape_base import NOWHERE, Definitions, JsonSchema, ReadContext, Shape, scalar
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode

FORMAT = "1"


class _Format(Shape[str]):
    noun = f"`{FORMAT}`, the version of the format"

    def read(self, node: YamlNode, context: ReadContext, name: Ref = NOWHERE) -> str | None:
        found = scalar(node, self.noun, context)
        if found is None:
            return None
        if found.text != FORMAT:
            newer = found.text.isdecimal() and len(found.text) < 9 and int(found.text) > int(FORMAT)
            context.problem(
                "unknown-format",
                found.mark,
                f"The file has format `{found.text[:20]}`, but this program reads format {FORMAT}",
                "Install a newer benchflow" if newer else f"Write `benchflow: {FORMAT}`",
            )
            return None
        return found.text

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"enum": [int(FORMAT), FORMAT]}


class UnnumberedSection(Struct, frozen=True):
    """A section as read. An ``id`` of ``None`` is later made from the title."""

    id: str | None
    title: str
    operations: tuple[Operation, ...]
    mark: Mark
    each: str | None = None
    order: tuple[str, ...] = ()
    one_by_one: bool = False


_SECTION_TITLE = Key("title", LINE, "The title of the section, on one line.")
_SECTION_ID = Key("id", NAMED, "The name of the section in `after`. By default it is made from the title.")
_SECTION_EACH = Key(
    "each",
    ReferenceShape("places", "a set of places"),
    "The set of places at which all its operations are repeated. An operation in it may have its own `each`: "
    "`seat[4, left]` is at the place 4 of the section. In the section a plain id means the same place of the section, "
    "and `seat[*]` all own places there; elsewhere `seat[*]` means all.",
    examples=("cap",),
)
_ORDER = Key(
    "order",
    ListShape(LABEL, at_least=1, distinct=True),
    "The order in which each of its operations is done at the places of `each`. Without it any order is possible.",
    examples=(["4", "3", "5", "2", "6", "1", "7"],),
)
_ONE_BY_ONE = Key(
    "one-by-one",
    BooleanShape(),
    "true if the section is finished at one place before it begins at the next, in `order`, or in the order of the "
    "set.",
)
_OPERATIONS = Key(
    "operations",
    ListShape(OperationOrUse(OPERATION)),
    "The operations of this section, in their usual order, and uses of blocks (`use`).",
    required=True,
)


def _section(fields: Fields) -> UnnumberedSection:
    given, each = fields.get(_SECTION_ID), fields.get(_SECTION_EACH)
    check_placeholders(None if each is None else each.name, fields.context)
    order = _section_order(fields, None if each is None else each.name)
    title = fields.get(_SECTION_TITLE)
    if not fields.wrote(_SECTION_TITLE):
        fields.context.problem(
            "missing-title", fields.mark, "This section has no title", "Write a `title` for the bench", "warning"
        )
    return UnnumberedSection(
        given,
        title or given or "",
        fields.get_or(_OPERATIONS, ()),
        fields.mark,
        None if each is None else each.name,
        order,
        fields.get_or(_ONE_BY_ONE, False),
    )


def _section_order(fields: Fields, each: str | None) -> tuple[str, ...]:
    """The order of the places of a section, which has each place of its set once."""
    order, places = fields.get_or(_ORDER, ()), fields.context.place_sets.get(each or "")
    if not order or places is None:
        return ()
    unknown = [place for place in order if place not in places]
    left = [place for place in places if place not in order]
    if unknown:
        fields.problem("unknown-name", _ORDER, f"`{each}` has no place `{unknown[0]}`", hint_for(unknown[0], places))
    elif left:
        which = f"the place `{left[0]}` is" if len(left) == 1 else f"the places {', '.join(left)} are"
        fields.problem("not-covered", _ORDER, f"In this order {which} missing", "Write every place once")
    return () if unknown or left else order


_SECTION = RepeatedShape(
    KeyedShape(
        "section",
        "a section",
        (_SECTION_TITLE, _SECTION_ID, _SECTION_EACH, _ORDER, _ONE_BY_ONE, _OPERATIONS),
        _section,
        requires=((_ORDER, _SECTION_EACH), (_ONE_BY_ONE, _SECTION_EACH)),
    )
)

_BENCHFLOW = Key("benchflow", _Format(), "The version of this format: 1.", required=True, examples=(1,))
_ID = Key("id", NAMED, "The procedure's name: letters, digits and dashes.", required=True, examples=("head-install",))
_TITLE = Key("title", LINE, "The title of the procedure, on one line.")
_REVISION = Key("revision", LINE, "The revision; put it in quotes.", examples=("B",))
_SUBJECT = Key("subject", LINE, "The assembly that is built.")
_SOURCE = Key(
    "source",
    PARAGRAPH,
    "Where the numbers come from. If it begins with the id of a document, it is the source of every figure without one "
    "of its own. So is any text, if there are no `documents`.",
    examples=("manual", "Workshop manual, 3rd edition"),
)
_DOCUMENTS = Key(
    "documents",
    DOCUMENTS,
    "The documents that the figures are taken from, by name: a title, or keys. A `source` names them.",
    examples=({"manual": {"title": "Workshop manual", "edition": "3", "date": "2024-05-01"}},),
)
_NOTICE = Key("notice", PARAGRAPH, "A notice that is shown first.")
_CAUTIONS = Key("cautions", cautions(), CAUTIONS_DESCRIPTION)
_USE = Key("use", USES, USES_DESCRIPTION, examples=(["torque-tools"],))
_UNITS = Key("units", UNITS, "The unit that the screen shows for each dimension; any unit can be entered.")
_OPTIONS = Key(
    "options", OPTIONS, "Questions at the start of a job; the answers decide which operations are part of the build."
)
_PLACES = Key("places", PLACES, "Sets of places at which operations and readings are repeated, in this order.")
_STATE = Key("state", STATE, "The possible states of the assembly: variables, each with a few named values.")
_INTERFERENCE = Key("interference", INTERFERENCE, "Values that must never occur together, with the reason.")
_MOVES = Key(
    "moves",
    MOVES,
    "Changes of state that can be made any number of times between operations, such as turning the crank.",
)
_KIT = Key("kit", KIT, "Parts and consumables.")
_INSTRUMENTS = Key(
    "instruments", INSTRUMENTS, "The instruments that are needed. Which ones the shop has is in its register."
)
_JOINTS = Key("joints", JOINTS, "Joints with the positions of their fasteners.")
_FAILURES = Key(
    "failures", FAILURES, "Possible complaints, in the customer's words. Operations name them under `guards-against`."
)
_SECTIONS = Key("sections", ListShape(_SECTION, at_least=1), "The work, in sections.", required=True)
_FOLLOW_UP = Key("follow-up", FOLLOW_UP, "Work that remains after the build.")
_HANDOVER = Key(
    "handover",
    MapShape(PARAGRAPH, "advice by heading", key=LINE),
    "Advice for the customer, by heading, such as first start, break-in, oil and retorque. It is on the build sheet.",
    examples=({"Oil": "Mineral oil for the first 500 km."},),
)
_CHANGES = Key("changes", CHANGES, "What was changed in each revision, oldest first. `benchflow revise` adds to it.")


class UnnumberedProcedure(Struct, frozen=True):
    """The procedure as read; sections and operations are not numbered yet."""

    procedure: Procedure
    sections: tuple[UnnumberedSection, ...]


def _procedure(fields: Fields) -> UnnumberedProcedure:
    ident, source = fields.get(_ID), fields.get(_SOURCE)
    if source is not None:
        fields.context.sources.append(Ref(source, fields.at(_SOURCE)))
    if not fields.wrote(_TITLE):
        fields.context.problem(
            "missing-title",
            fields.mark,
            "The procedure has no title",
            "Write a `title` that says what is built",
            "warning",
        )
    procedure = Procedure(
        id=ident or "",
        title=fields.get_or(_TITLE, ident or ""),
        revision=fields.get_or(_REVISION, ""),
        subject=fields.get_or(_SUBJECT, ""),
        source=source or "",
        notice=fields.get_or(_NOTICE, ""),
        cautions=fields.get_or(_CAUTIONS, ()),
        units=fields.get_or(_UNITS, {}),
        options=tuple(fields.get_or(_OPTIONS, {}).values()),
        places=fields.get_or(_PLACES, {}),
        state=tuple(fields.get_or(_STATE, {}).values()),
        interference=fields.get_or(_INTERFERENCE, ()),
        moves=tuple(fields.get_or(_MOVES, {}).values()),
        kit=fields.get_or(_KIT, ()),
        instruments=tuple(fields.get_or(_INSTRUMENTS, {}).values()),
        joints=tuple(fields.get_or(_JOINTS, {}).values()),
        failures=tuple(fields.get_or(_FAILURES, {}).values()),
        follow_up=fields.get_or(_FOLLOW_UP, ()),
        decision=cast(DecisionRule, fields.get_or(DECISION, "simple")),
        waive=fields.get_or(WAIVE, ""),
        handover=fields.get_or(_HANDOVER, {}),
        changes=fields.get_or(_CHANGES, ()),
        documents=tuple(fields.get_or(_DOCUMENTS, {}).values()),
    )
    return UnnumberedProcedure(procedure, fields.get_or(_SECTIONS, ()))


PROCEDURE = KeyedShape(
    "procedure",
    "a procedure",
    (
        _BENCHFLOW, _ID, _TITLE, _REVISION, _SUBJECT, _SOURCE, _DOCUMENTS, _NOTICE, _CAUTIONS, _USE, _UNITS, DECISION,
        WAIVE, _OPTIONS, _PLACES, _STATE, _INTERFERENCE, _MOVES, _KIT, _INSTRUMENTS, _JOINTS, _FAILURES, _SECTIONS,
        _FOLLOW_UP, _HANDOVER, _CHANGES,
    ),
    _procedure,
    hints={"operations": "Write the operations in a section: `sections: [{title: ..., operations: [...]}]`"},
)  # fmt: skip
