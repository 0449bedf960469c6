"""The keys at the top level of a procedure file."""

from typing import cast

from msgspec import Struct

from benchflow.procedure.keys.evidence_keys import WAIVE
from benchflow.procedure.keys.joint_keys import JOINTS
from benchflow.procedure.keys.operation_keys import OPERATION
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
from benchflow.procedure.keys.value_keys import DECISION
from benchflow.procedure.model import DecisionRule, Mark, Operation, Procedure, Ref
from benchflow.procedure.shapes.basic_shapes import LINE, NAMED, PARAGRAPH, ListShape
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
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


_SECTION_TITLE = Key("title", LINE, "The title of the section, on one line.")
_SECTION_ID = Key("id", NAMED, "The name of the section in `after`. By default it is made from the title.")
_OPERATIONS = Key(
    "operations",
    ListShape(OPERATION),
    "The operations of this section, in their usual order.",
    required=True,
)


def _section(fields: Fields) -> UnnumberedSection:
    given = fields.get(_SECTION_ID)
    title = fields.get(_SECTION_TITLE)
    if not fields.wrote(_SECTION_TITLE):
        fields.context.problem(
            "missing-title", fields.mark, "This section has no title", "Write a `title` for the bench", "warning"
        )
    return UnnumberedSection(given, title or given or "", fields.get_or(_OPERATIONS, ()), fields.mark)


_SECTION = KeyedShape("section", "a section", (_SECTION_TITLE, _SECTION_ID, _OPERATIONS), _section)

_BENCHFLOW = Key("benchflow", _Format(), "The version of this format: 1.", required=True, examples=(1,))
_ID = Key("id", NAMED, "The procedure's name: letters, digits and dashes.", required=True, examples=("head-install",))
_TITLE = Key("title", LINE, "The title of the procedure, on one line.")
_REVISION = Key("revision", LINE, "The revision; put it in quotes.", examples=("B",))
_SUBJECT = Key("subject", LINE, "The assembly that is built.")
_SOURCE = Key("source", PARAGRAPH, "The origin of the numbers, such as a manual and its edition.")
_NOTICE = Key("notice", PARAGRAPH, "A notice that is shown first.")
_CAUTIONS = Key("cautions", cautions(), CAUTIONS_DESCRIPTION)
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


class UnnumberedProcedure(Struct, frozen=True):
    """The procedure as read; sections and operations are not numbered yet."""

    procedure: Procedure
    sections: tuple[UnnumberedSection, ...]


def _procedure(fields: Fields) -> UnnumberedProcedure:
    ident = fields.get(_ID)
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
        source=fields.get_or(_SOURCE, ""),
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
    )
    return UnnumberedProcedure(procedure, fields.get_or(_SECTIONS, ()))


PROCEDURE = KeyedShape(
    "procedure",
    "a procedure",
    (
        _BENCHFLOW, _ID, _TITLE, _REVISION, _SUBJECT, _SOURCE, _NOTICE, _CAUTIONS, _UNITS, DECISION, WAIVE,
        _OPTIONS, _PLACES, _STATE, _INTERFERENCE, _MOVES, _KIT, _INSTRUMENTS, _JOINTS, _FAILURES, _SECTIONS, _FOLLOW_UP,
    ),
    _procedure,
    hints={"operations": "Write the operations in a section: `sections: [{title: ..., operations: [...]}]`"},
)  # fmt: skip
