"""An operation: what is done, when it may be, and what shows that it was done right."""

from benchflow.procedure.keys.part_keys import CHOOSE, MATCH
from benchflow.procedure.keys.setup_keys import CAUTIONS_SAY, cautions, spoken
from benchflow.procedure.keys.tightening_keys import TIGHTEN
from benchflow.procedure.keys.value_keys import RECORD, WORK_OUT
from benchflow.procedure.model import Hold, Operation, Ref, TimeSince, Undo
from benchflow.procedure.shapes.basic_shapes import (
    FILLED_LINE,
    FILLED_PARAGRAPH,
    LINE,
    NAMED,
    ListShape,
    MapShape,
    TransformedShape,
)
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.quantity_shapes import LimitShape, QuantityShape
from benchflow.procedure.shapes.reference_shapes import NEEDS, SETTINGS, WHEN, KeyReferenceShape, ReferenceShape
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode
from benchflow.quantity import Limit

ID = Key(
    "id", NAMED, "The name that other lines use: letters, digits and dashes.", required=True, examples=("seat-cam",)
)
TITLE = Key("title", FILLED_LINE, "What is done, in a line. Texts under `each` may say {cylinder}.")
DO = Key("do", FILLED_PARAGRAPH, "The instruction. A line each where there are several steps.")
BECAUSE = Key("because", FILLED_PARAGRAPH, "Why it stands here, for the builder and for the printed sheet.")
_CAUTIONS = Key("cautions", cautions(filled=True), CAUTIONS_SAY)
_WHEN = Key("when", WHEN, "Only for these choices of the options; otherwise it is not part of the build.")
_EACH = Key(
    "each",
    ReferenceShape("places", "a set of places"),
    "Repeated for each place of this set; ids become seat[1], seat[2].",
)
_AFTER = Key(
    "after",
    ListShape(ReferenceShape("prerequisite", "an id"), single=True),
    "What has to be done before: an operation's id, `id[*]` for all its places, `id[2]` for one, or a section's id. "
    "Under the same `each`, a plain id is the same place.",
    examples=(["set-head-down"],),
)
_NEEDS = Key(
    "needs", NEEDS, "How the assembly has to stand before it is taken up: each variable with a value or a list of them."
)
_DURING = Key("during", SETTINGS, "How the assembly stands while it is in hand; falls away when it is done.")
_SETS = Key("sets", SETTINGS, "How the assembly stands when it is done.")
_TAKES = Key(
    "takes", QuantityShape("time"), "The least it takes, for the check of the time windows.", examples=("5 min",)
)
_USES = Key(
    "uses",
    ListShape(ReferenceShape("used", "a name from the kit or the instruments"), single=True),
    "Parts, consumables and instruments it uses, by name.",
)
_RECORD = Key("record", RECORD, "Values to be read, by name.")
_WORK_OUT = Key("work-out", WORK_OUT, "Values worked out from others, by name.")
_CHOOSE = Key("choose", CHOOSE, "Parts chosen from a table by a value.")
_MATCH = Key("match", MATCH, "A measured set of parts given to a set of places.")
_TIGHTEN = Key("tighten", TIGHTEN, "The joint that is tightened here, and its stages.")
_CHECK = Key(
    "check",
    ListShape(FILLED_LINE, single=True, at_least=1, distinct=True),
    "What is to be seen or felt, each to be ticked.",
)
_GUARDS = Key(
    "guards-against",
    ListShape(ReferenceShape("failure", "a name under `failures`"), single=True),
    "The complaints that it guards against.",
)


def _window(limit: Limit, node: YamlNode, name: Ref, notes: ReadContext) -> TimeSince:
    return TimeSince(name, limit.low, limit.high, limit.text)


_TIME = Key(
    "time",
    MapShape(
        TransformedShape(LimitShape("time", "at most 10 min"), _window),
        "operations with the time since they were finished",
        key=KeyReferenceShape("operation", "an operation's id"),
    ),
    "The time since another operation was last finished: the lower end holds back taking up, the upper end finishing. "
    "It also comes after that operation.",
    examples=({"apply-sealant": "at most 10 min"},),
)

_BY = Key("by", LINE, "The role that signs: inspector.", required=True)
_FOR = Key("for", FILLED_LINE, "What is signed for.")


def _hold(fields: Fields) -> Hold:
    return Hold(fields.has(_BY, ""), fields.has(_FOR, ""), fields.node.mark)


_HOLD = Key(
    "hold",
    KeyedShape("hold", "`hold`", (_BY, _FOR), _hold),
    "Not finished until this role has signed; nothing that comes after may start.",
)

_UNDO_DO = Key("do", FILLED_PARAGRAPH, "How it is taken back.")
_UNDO_NEEDS = Key("needs", NEEDS, "How the assembly has to stand before it is taken back.")
_UNDO_SETS = Key("sets", SETTINGS, "How the assembly stands afterwards, where what stood before will not do.")
_DISCARD = Key(
    "discard",
    ListShape(ReferenceShape("kit", "a part's name"), single=True),
    "Parts that are thrown away when it comes off.",
)


def _undo(fields: Fields) -> Undo:
    return Undo(
        fields.has(_UNDO_DO, ""),
        fields.has(_UNDO_NEEDS, {}),
        fields.has(_DISCARD, ()),
        fields.has(_UNDO_SETS, {}),
        fields.node.mark,
    )


_UNDO = Key(
    "undo",
    KeyedShape("undo", "`undo`", (_UNDO_DO, _UNDO_NEEDS, _DISCARD, _UNDO_SETS), _undo),
    "How it is taken back. Without it the operation cannot be taken back.",
)

_RESTORED_BY = Key(
    "restored-by",
    ReferenceShape("whole-operation", "an operation's id"),
    "The operation that puts it right.",
    required=True,
)


def _temporary(fields: Fields) -> Ref | None:
    return fields.get(_RESTORED_BY)


_TEMPORARY = Key(
    "temporary",
    KeyedShape("temporary", "`temporary`", (_RESTORED_BY,), _temporary),
    "A setting that the session may not end with, and the operation that puts it right.",
)


def _operation(fields: Fields) -> Operation:
    notes = fields.notes
    each = fields.get(_EACH)
    _check_placeholders(each.name if each else None, notes)
    ident = fields.get(ID)
    if ident is None:
        written = fields.nodes.get("id")
        notes.half_known.update([getattr(written, "text", "")])
    elif not fields.wrote(TITLE):
        notes.problem(
            "missing-title", fields.mark, f"`{ident}` has no title", "write `title`: what is done, in a line", "warning"
        )
    restored = fields.get(_TEMPORARY)
    return Operation(
        id=ident or "",
        title=fields.has(TITLE, spoken(ident or "")),
        section="",
        number=0,
        do=fields.has(DO, ""),
        because=fields.has(BECAUSE, ""),
        cautions=fields.has(_CAUTIONS, ()),
        when=fields.has(_WHEN, {}),
        each=each.name if each else None,
        after=fields.has(_AFTER, ()),
        needs=fields.has(_NEEDS, {}),
        during=fields.has(_DURING, {}),
        sets=fields.has(_SETS, {}),
        time=tuple(fields.has(_TIME, {}).values()),
        takes=fields.get(_TAKES),
        uses=fields.has(_USES, ()),
        record=tuple(fields.has(_RECORD, {}).values()),
        work_out=tuple(fields.has(_WORK_OUT, {}).values()),
        choose=tuple(fields.has(_CHOOSE, {}).values()),
        match=tuple(fields.has(_MATCH, {}).values()),
        tighten=fields.get(_TIGHTEN),
        check=fields.has(_CHECK, ()),
        hold=fields.get(_HOLD),
        guards_against=fields.has(_GUARDS, ()),
        undo=fields.get(_UNDO),
        restored_by=restored,
        mark=fields.mark,
    )


def _check_placeholders(each: str | None, notes: ReadContext) -> None:
    """``{cylinder}`` stands for the place under `each: cylinder`, and nothing else may stand in braces."""
    for word, mark in notes.placeholders:
        if word == each:
            continue
        fits = f"`{{{each}}}` is filled in here" if each else "only under `each` is there a place to fill in"
        notes.problem(
            "unknown-placeholder",
            mark,
            f"nothing is known to fill in for {{{word[:40]}}}",
            f"{fits}; for braces write {{{{...}}}}",
        )
    notes.placeholders.clear()


OPERATION = KeyedShape(
    "operation",
    "an operation",
    (
        ID, TITLE, _CAUTIONS, DO, BECAUSE, _WHEN, _EACH, _AFTER, _NEEDS, _DURING, _SETS, _TIME, _TAKES, _USES,
        _RECORD, _WORK_OUT, _CHOOSE, _MATCH, _TIGHTEN, _CHECK, _HOLD, _GUARDS, _UNDO, _TEMPORARY,
    ),
    _operation,
    advice={
        "before": "write it the other way round: `after` on the operation that comes later",
        "caution": "write `cautions: [{caution: ...}]`",
        "warning": "write `cautions: [{warning: ...}]`",
        "danger": "write `cautions: [{danger: ...}]`",
        "notice": "write `cautions: [{notice: ...}]`",
        "torque": "write `tighten: {joint: ..., stages: [...]}`",
        "measure": "write `record`",
        "limit": "a limit belongs under the name of a value: `record: {name: {unit: mm, limit: ...}}`",
        "stages": "write `tighten: {joint: ..., stages: [...]}`",
    },
)  # fmt: skip
