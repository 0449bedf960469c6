"""Keys of an operation: instruction, order, state, time, evidence, undoing."""

from benchflow.base.plaintext import listed
from benchflow.procedure.keys.evidence_keys import PROVES, RESTARTS, WAIVE
from benchflow.procedure.keys.hold_keys import HOLD
from benchflow.procedure.keys.part_keys import CHOOSE, MATCH
from benchflow.procedure.keys.remedy_keys import REMEDIES, check_stops
from benchflow.procedure.keys.setup_keys import CAUTIONS_DESCRIPTION, cautions, title_from_name
from benchflow.procedure.keys.tightening_keys import TIGHTEN, stage_torques
from benchflow.procedure.keys.time_window_keys import TIME
from benchflow.procedure.keys.value_keys import RECORD, WORK_OUT
from benchflow.procedure.keys.varying_operations import VaryingOperation
from benchflow.procedure.model import CheckPoint, Operation, Ref, Undo
from benchflow.procedure.shapes.basic_shapes import (
    FILLED_LINE,
    FILLED_PARAGRAPH,
    LINE,
    NAMED,
    BooleanShape,
    EitherShape,
    ListShape,
    TransformedShape,
)
from benchflow.procedure.shapes.by_shapes import ByShape
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.quantity_shapes import QuantityShape
from benchflow.procedure.shapes.reference_shapes import (
    OPERATION_NEEDS,
    OPERATION_SETTINGS,
    UNDO_SETTINGS,
    WHEN_FOUND,
    ReferenceShape,
)
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode, key_marks

ID = Key(
    "id", NAMED, "The name that other lines use: letters, digits and dashes.", required=True, examples=("seat-cam",)
)
TITLE = Key("title", FILLED_LINE, "The title: what is done, on one line. Under `each`, texts can contain {cylinder}.")
DO = Key("do", ByShape("instruction", FILLED_PARAGRAPH), "The instruction; one line per step.")
BECAUSE = Key(
    "because", FILLED_PARAGRAPH, "The reason for doing it at this point, for the builder and the printed sheet."
)
_CAUTIONS = Key("cautions", cautions(filled=True), CAUTIONS_DESCRIPTION)
_WHEN = Key(
    "when",
    WHEN_FOUND,
    "The choices of the options for which it is part of the build. It may also name findings: a value of an earlier "
    "operation with `ok`, `below` or `above` (of several readings, any), a check with `yes` or `no`, or a choice with "
    "a part. A finding is made when that operation is finished, and this one comes after it. If an operation is left "
    "out, the operations after it follow the ones before it.",
    examples=({"cams": "reground"}, {"end-play": "above"}, {"loose": "no"}),
)
_IF_NEEDED = Key(
    "if-needed",
    BooleanShape(),
    "true if it is done only when the `redo` of a remedy names it: once for each call. The operation with that remedy "
    "waits for it.",
)
_IN_ORDER = Key(
    "in-order", BooleanShape(), "true if its places are done in the order in which the set of `each` is written."
)
_AGAIN = Key(
    "again",
    ReferenceShape("operation", "an operation's id"),
    "The operation that this one does once more, after it. It takes every key of that operation except `id`. A key "
    "that is written here replaces the whole key. Its values and checks are called `ID.name`: `refit.end-play`. "
    "Inside the copy, plain names and the id of the other operation mean the copy; in its formulas, "
    "`fit-crank.end-play` is the first value.",
    examples=("fit-crank",),
)
_TAKES_APART = Key(
    "takes-apart",
    ListShape(ReferenceShape("prerequisite-operation", "an operation's id"), single=True, at_least=1),
    "The operations that this one takes apart again as planned. It comes after them. They stay done, as a trial, and "
    "their values can still be used. Parts with `discard` are thrown away. The state afterwards is in `sets`.",
    examples=(["trial-head"],),
)
_EACH = Key(
    "each",
    ReferenceShape("places", "a set of places"),
    "The set of places at which it is repeated. The ids become seat[1], seat[2].",
)
_AFTER = Key(
    "after",
    ListShape(ReferenceShape("prerequisite", "an id"), single=True),
    "The prerequisites: an operation's id, `id[*]` for all its places, `id[2]` for one, or a section's id. "
    "Under the same `each`, an id without a place means the same place.",
    examples=(["set-head-down"],),
)
_NEEDS = Key(
    "needs", OPERATION_NEEDS, "The state that is needed to start it: each variable with a value or a list of values."
)
_DURING = Key("during", OPERATION_SETTINGS, "The state while it is in progress; it ends when the operation is done.")
_SETS = Key("sets", OPERATION_SETTINGS, "The state when it is done.")
_TAKES = Key(
    "takes",
    ByShape("duration", QuantityShape("time")),
    "The shortest time that it takes, for the check of the time windows.",
    examples=("5 min",),
)
_USES = Key(
    "uses",
    ListShape(ReferenceShape("used", "a name from the kit or the instruments"), single=True),
    "Names of the parts, consumables and instruments that it uses.",
)
_ELSEWHERE = Key(
    "elsewhere",
    LINE,
    "Who does it, if it is done outside the shop, such as the machine shop. The build sheet lists it as work done "
    "elsewhere.",
    examples=("the machine shop",),
)
_RECORD = Key("record", RECORD, "Values to measure, by name.")
_WORK_OUT = Key("work-out", WORK_OUT, "Values calculated from others, by name.")
_CHOOSE = Key("choose", CHOOSE, "Parts that are chosen by a value from a table.")
_MATCH = Key("match", MATCH, "The assignment of measured parts to places.")
_TIGHTEN = Key("tighten", TIGHTEN, "The joint that is tightened, and its stages.")
_SEE = Key("see", ByShape("seen", FILLED_LINE), "The point to see or feel.", required=True)
_CHECK_ID = Key("id", NAMED, "Its name, for `from` and `until` under `time`, for a remedy and for a deviation.")
_IF_NOT = Key(
    "if not",
    REMEDIES,
    "Remedies for the answer no, in this order. It can be answered yes only after the remedy in turn. After the last "
    "one, or at `stop`, only a deviation, a rework or the correction of a wrong entry gets past it.",
    examples=([{"do": "Loosen the nut half a turn", "tries": 2}, {"do": "Replace the rocker", "stop": True}],),
)


def _check_point(fields: Fields) -> CheckPoint | None:
    check_stops(fields, _IF_NOT)
    text = fields.get(_SEE)
    if text is None:
        return None
    return CheckPoint(
        text,
        fields.get_or(_CHECK_ID, ""),
        fields.get_or(WAIVE, ""),
        fields.get_or(PROVES, ()),
        fields.node.mark,
        fields.get_or(_IF_NOT, ()),
    )


def _plain_check(text: str, node: YamlNode, name: Ref, context: ReadContext) -> CheckPoint:
    return CheckPoint(text, mark=node.mark)


def _checks(points: tuple[CheckPoint, ...], node: YamlNode, name: Ref, context: ReadContext) -> tuple[CheckPoint, ...]:
    """The checks, each text and each id once."""
    kept: dict[str, CheckPoint] = {}
    ids: set[str] = set()
    for point in points:
        if point.text in kept or point.id in ids:
            twice = point.text if point.text in kept else point.id
            context.problem("duplicate-item", point.mark, f"`{twice}` is in the list twice", "Delete one of them")
            continue
        kept[point.text] = point
        ids.update([point.id] if point.id else [])
    return tuple(kept.values())


_CHECK = Key(
    "check",
    TransformedShape(
        ListShape(
            ByShape(
                "check",
                TransformedShape(FILLED_LINE, _plain_check),
                plain=EitherShape(
                    "a text, or keys such as `{see: ..., proves: casing}`",
                    text=TransformedShape(FILLED_LINE, _plain_check),
                    entries=KeyedShape(
                        "check-point", "a check", (_SEE, _CHECK_ID, WAIVE, PROVES, _IF_NOT), _check_point
                    ),
                ),
            ),
            single=True,
            at_least=1,
        ),
        _checks,
    ),
    "Points to see or feel, each a text or keys. The builder answers each one yes or no.",
    examples=(
        ["The shaft turns freely"],
        [{"see": "The casing is cold to the hand", "proves": "casing"}],
        [{"see": "Both rockers are loose", "id": "loose", "if not": [{"do": "Turn the shaft half a turn"}]}],
    ),
)
_GUARDS = Key(
    "guards-against",
    ListShape(ReferenceShape("failure", "a name under `failures`"), single=True),
    "The complaints that it prevents or detects.",
)
_UNDO_DO = Key("do", ByShape("instruction", FILLED_PARAGRAPH), "The instruction for undoing it.")
_UNDO_NEEDS = Key("needs", OPERATION_NEEDS, "The state that is needed to undo it.")
_UNDO_SETS = Key(
    "sets",
    UNDO_SETTINGS,
    "The state afterwards, if it is not the state before the operation. `ask` if it is not known then.",
    examples=({"casing": "ask"},),
)
_DISCARD = Key(
    "discard",
    ListShape(ReferenceShape("kit", "a part's name"), single=True),
    "Parts that are thrown away when it is undone.",
)


def _undo(fields: Fields) -> Undo:
    return Undo(
        fields.get_or(_UNDO_DO, ""),
        fields.get_or(_UNDO_NEEDS, {}),
        fields.get_or(_DISCARD, ()),
        {name: value or None for name, value in fields.get_or(_UNDO_SETS, {}).items()},
        fields.node.mark,
    )


_UNDO = Key(
    "undo",
    KeyedShape("undo", "`undo`", (_UNDO_DO, _UNDO_NEEDS, _DISCARD, _UNDO_SETS), _undo),
    "The instructions for undoing it. Without `undo` the operation cannot be undone.",
)

_RESTORED_BY = Key(
    "restored-by",
    ReferenceShape("whole-operation", "an operation's id"),
    "The operation that restores it.",
    required=True,
)


def _temporary(fields: Fields) -> Ref | None:
    return fields.get(_RESTORED_BY)


_TEMPORARY = Key(
    "temporary",
    KeyedShape("temporary", "`temporary`", (_RESTORED_BY,), _temporary),
    "A temporary setting that must not remain at the end of the job, and the operation that restores it.",
)


def _operation(fields: Fields) -> Operation:
    context = fields.context
    each = fields.get(_EACH)
    context.filled_texts.append((each.name if each else None, tuple(context.placeholders)))
    context.placeholders.clear()
    ident = fields.get(ID)
    if ident is None:
        written = fields.nodes.get("id")
        context.unreadable_names.update([getattr(written, "text", "")])
    elif not fields.wrote(TITLE):
        context.problem(
            "missing-title",
            fields.mark,
            f"`{ident}` has no title",
            "Write a `title` that says on one line what is done",
            "warning",
        )
    restored = fields.get(_TEMPORARY)
    record, tighten = tuple(fields.get_or(_RECORD, {}).values()), fields.get(_TIGHTEN)
    return Operation(
        id=ident or "",
        title=fields.get_or(TITLE, title_from_name(ident or "")),
        section="",
        number=0,
        do=fields.get_or(DO, ""),
        because=fields.get_or(BECAUSE, ""),
        cautions=fields.get_or(_CAUTIONS, ()),
        when=fields.get_or(_WHEN, {}),
        each=each.name if each else None,
        after=fields.get_or(_AFTER, ()),
        needs=fields.get_or(_NEEDS, {}),
        during=fields.get_or(_DURING, {}),
        sets=fields.get_or(_SETS, {}),
        time=tuple(fields.get_or(TIME, {}).values()),
        takes=fields.get(_TAKES),
        uses=fields.get_or(_USES, ()),
        record=record,
        work_out=(*fields.get_or(_WORK_OUT, {}).values(), *stage_torques(ident or "", record, tighten)),
        choose=tuple(fields.get_or(_CHOOSE, {}).values()),
        match=tuple(fields.get_or(_MATCH, {}).values()),
        tighten=tighten,
        check=fields.get_or(_CHECK, ()),
        hold=fields.get(HOLD),
        guards_against=fields.get_or(_GUARDS, ()),
        undo=fields.get(_UNDO),
        restored_by=restored,
        mark=fields.mark,
        waive=fields.get_or(WAIVE, ""),
        in_order=fields.get_or(_IN_ORDER, False),
        if_needed=fields.get_or(_IF_NEEDED, False),
        takes_apart=fields.get_or(_TAKES_APART, ()),
        again=fields.get(_AGAIN),
        restarts=fields.get_or(RESTARTS, ()),
        finding_marks=key_marks(fields.nodes.get("when")),
        elsewhere=fields.get_or(_ELSEWHERE, ""),
    )


def check_placeholders(section_each: str | None, context: ReadContext) -> None:
    """Report every placeholder in the operations of a section other than ``{cylinder}`` under `each: cylinder`."""
    for each, placeholders in context.filled_texts:
        known = [name for name in (section_each, each) if name is not None]
        for word, mark in placeholders:
            if word in known:
                continue
            possible = listed([f"`{{{name}}}`" for name in known], "or")
            only = f"Only {possible} is possible here" if known else "A placeholder is possible only under `each`"
            context.problem(
                "unknown-placeholder",
                mark,
                f"`{{{word[:40]}}}` is not a known placeholder",
                f"{only}. For braces in a text, write `{{{{...}}}}`",
            )
    context.filled_texts.clear()


OPERATION = VaryingOperation(KeyedShape(
    "operation",
    "an operation",
    (
        ID, _AGAIN, TITLE, _CAUTIONS, DO, BECAUSE, _WHEN, _IF_NEEDED, _EACH, _IN_ORDER, _AFTER, _TAKES_APART, _NEEDS,
        _DURING, _SETS, TIME, RESTARTS, _TAKES, _USES, _ELSEWHERE,
        _RECORD, _WORK_OUT, _CHOOSE, _MATCH, _TIGHTEN, _CHECK, HOLD, _GUARDS, _UNDO, _TEMPORARY, WAIVE,
    ),
    _operation,
    requires=((_IN_ORDER, _EACH),),
    hints={
        "before": "Write `after` on the operation that comes later",
        "caution": "Write `cautions: [{caution: ...}]`",
        "warning": "Write `cautions: [{warning: ...}]`",
        "danger": "Write `cautions: [{danger: ...}]`",
        "notice": "Write `cautions: [{notice: ...}]`",
        "torque": "Write `tighten: {joint: ..., stages: [...]}`",
        "measure": "Write `record: {name: {unit: mm, limit: ...}}`",
        "limit": "A limit belongs under the name of a value: `record: {name: {unit: mm, limit: ...}}`",
        "readings": "It belongs under the name of a value: `record: {name: {unit: mm, readings: 4}}`",
        "unit": "It belongs under the name of a value: `record: {name: {unit: mm, limit: ...}}`",
        "joint": "Write `tighten: {joint: ..., stages: [...]}`",
        "second-person": "It belongs under `hold`: `hold: {by: inspector, second-person: true}`",
        "stages": "Write `tighten: {joint: ..., stages: [...]}`",
    },
))  # fmt: skip
