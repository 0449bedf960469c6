"""The whole file: the keys at the top level."""

from typing import cast

from msgspec import Struct

from benchflow.procedure.keys.joint_keys import JOINTS
from benchflow.procedure.keys.operation_keys import OPERATION
from benchflow.procedure.keys.setup_keys import (
    CAUTIONS_SAY,
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

    def read(self, node: YamlNode, notes: ReadContext, name: Ref = NOWHERE) -> str | None:
        found = scalar(node, self.noun, notes)
        if found is None:
            return None
        if found.text != FORMAT:
            newer = found.text.isdecimal() and len(found.text) < 9 and int(found.text) > int(FORMAT)
            notes.problem(
                "unknown-format",
                found.mark,
                f"this file says format `{found.text[:20]}`; this program reads format {FORMAT}",
                "a newer benchflow is needed" if newer else f"write `benchflow: {FORMAT}`",
            )
            return None
        return found.text

    def schema(self, definitions: Definitions) -> JsonSchema:
        return {"enum": [int(FORMAT), FORMAT]}


class UnnumberedSection(Struct, frozen=True):
    """A section as read: ``id`` is ``None`` where it is still to be made from the title."""

    id: str | None
    title: str
    operations: tuple[Operation, ...]
    mark: Mark


_SECTION_TITLE = Key("title", LINE, "What this part of the work is, in a line.")
_SECTION_ID = Key("id", NAMED, "The name for `after`; made from the title where it is not given.")
_OPERATIONS = Key(
    "operations",
    ListShape(OPERATION),
    "The operations of this section, in the order they are usually done.",
    required=True,
)


def _section(fields: Fields) -> UnnumberedSection:
    given = fields.get(_SECTION_ID)
    title = fields.get(_SECTION_TITLE)
    if not fields.wrote(_SECTION_TITLE):
        fields.notes.problem("missing-title", fields.mark, "this section has no title", "write `title`", "warning")
    return UnnumberedSection(given, title or given or "", fields.has(_OPERATIONS, ()), fields.mark)


_SECTION = KeyedShape("section", "a section", (_SECTION_TITLE, _SECTION_ID, _OPERATIONS), _section)

_BENCHFLOW = Key("benchflow", _Format(), "The version of this format: 1.", required=True, examples=(1,))
_ID = Key("id", NAMED, "The procedure's name: letters, digits and dashes.", required=True, examples=("head-install",))
_TITLE = Key("title", LINE, "What is done, in a line.")
_REVISION = Key("revision", LINE, "The revision, in quotes so that it stays as written.", examples=("B",))
_SUBJECT = Key("subject", LINE, "What is being built.")
_SOURCE = Key("source", PARAGRAPH, "Where the numbers come from.")
_NOTICE = Key("notice", PARAGRAPH, "Shown before anything else.")
_CAUTIONS = Key("cautions", cautions(), CAUTIONS_SAY)
_UNITS = Key("units", UNITS, "The unit that the screen shows for each kind of quantity; any unit may be entered.")
_OPTIONS = Key(
    "options", OPTIONS, "What is asked when the session opens, and decides which operations are part of the build."
)
_PLACES = Key("places", PLACES, "Sets of places that operations and readings repeat over, in this order.")
_STATE = Key("state", STATE, "How the assembly can stand: variables with a few named values each.")
_INTERFERENCE = Key("interference", INTERFERENCE, "Values that must never stand together, and why.")
_MOVES = Key("moves", MOVES, "What may be done any number of times between operations, such as turning the crank.")
_KIT = Key("kit", KIT, "Parts and consumables.")
_INSTRUMENTS = Key(
    "instruments", INSTRUMENTS, "The instruments that are needed; the shop's register says what there is."
)
_JOINTS = Key("joints", JOINTS, "Joints as they lie, with their fasteners.")
_FAILURES = Key(
    "failures", FAILURES, "What may come back, in the customer's words; operations name the ones they guard against."
)
_SECTIONS = Key("sections", ListShape(_SECTION, at_least=1), "The work, in sections.", required=True)
_FOLLOW_UP = Key("follow-up", FOLLOW_UP, "What remains to be done after the build.")


class UnnumberedProcedure(Struct, frozen=True):
    """The procedure as read, its sections not yet numbered through."""

    procedure: Procedure
    sections: tuple[UnnumberedSection, ...]


def _procedure(fields: Fields) -> UnnumberedProcedure:
    ident = fields.get(_ID)
    if not fields.wrote(_TITLE):
        fields.notes.problem("missing-title", fields.mark, "the procedure has no title", "write `title`", "warning")
    procedure = Procedure(
        id=ident or "",
        title=fields.has(_TITLE, ident or ""),
        revision=fields.has(_REVISION, ""),
        subject=fields.has(_SUBJECT, ""),
        source=fields.has(_SOURCE, ""),
        notice=fields.has(_NOTICE, ""),
        cautions=fields.has(_CAUTIONS, ()),
        units=fields.has(_UNITS, {}),
        options=tuple(fields.has(_OPTIONS, {}).values()),
        places=fields.has(_PLACES, {}),
        state=tuple(fields.has(_STATE, {}).values()),
        interference=fields.has(_INTERFERENCE, ()),
        moves=tuple(fields.has(_MOVES, {}).values()),
        kit=fields.has(_KIT, ()),
        instruments=tuple(fields.has(_INSTRUMENTS, {}).values()),
        joints=tuple(fields.has(_JOINTS, {}).values()),
        failures=tuple(fields.has(_FAILURES, {}).values()),
        follow_up=fields.has(_FOLLOW_UP, ()),
        decision=cast(DecisionRule, fields.has(DECISION, "simple")),
    )
    return UnnumberedProcedure(procedure, fields.has(_SECTIONS, ()))


PROCEDURE = KeyedShape(
    "procedure",
    "a procedure",
    (
        _BENCHFLOW, _ID, _TITLE, _REVISION, _SUBJECT, _SOURCE, _NOTICE, _CAUTIONS, _UNITS, DECISION, _OPTIONS,
        _PLACES, _STATE, _INTERFERENCE, _MOVES, _KIT, _INSTRUMENTS, _JOINTS, _FAILURES, _SECTIONS, _FOLLOW_UP,
    ),
    _procedure,
    advice={"operations": "operations belong into a section: `sections: [{title: ..., operations: [...]}]`"},
)  # fmt: skip
