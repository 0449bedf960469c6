"""The key `time`: how long ago another operation may have been finished."""

from benchflow.procedure.keys.evidence_keys import PROVES, WAIVE
from benchflow.procedure.keys.source_keys import OPERATION_SOURCE
from benchflow.procedure.model import Ref, TimeSince
from benchflow.procedure.shapes.asked_shapes import NOT_GIVEN_YET, AskedText, FigureOrAskShape
from benchflow.procedure.shapes.basic_shapes import LINE, EitherShape, MapShape, TransformedShape
from benchflow.procedure.shapes.by_shapes import ByShape
from benchflow.procedure.shapes.examples_from_text import time_window_hint
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.quantity_shapes import LimitShape
from benchflow.procedure.shapes.reference_shapes import OPERATION_NEEDS, KeyReferenceShape
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode
from benchflow.quantity import Limit


def _window(limit: Limit | AskedText, node: YamlNode, name: Ref, context: ReadContext) -> TimeSince:
    if isinstance(limit, AskedText):
        return TimeSince(name, None, None, NOT_GIVEN_YET, asked=limit.mark)
    return TimeSince(name, limit.low, limit.high, limit.text, low_open=limit.low_open, high_open=limit.high_open)


def _entry_name(text: str, node: YamlNode, name: Ref, context: ReadContext) -> Ref:
    return Ref(text, node.mark)


_ENTRY = TransformedShape(LINE, _entry_name, "the name of a value or a check")
_WINDOW_LIMIT = Key(
    "limit",
    ByShape("time-limit", FigureOrAskShape(LimitShape("time", "at most 10 min"))),
    "The accepted time. `ask` if it is still to be filled in.",
    required=True,
    examples=("at most 10 min", "ask"),
)
_FROM = Key(
    "from",
    _ENTRY,
    "A value or a check (its `id`) of the other operation. The time counts from its last entry, instead of from the "
    "end of that operation.",
    examples=("casing-temp",),
)
_UNTIL = Key(
    "until",
    _ENTRY,
    "A value or a check (its `id`) of this operation. The upper end is judged when it is entered, instead of when the "
    "operation is finished.",
    examples=("seated",),
)

_WHILE = Key(
    "while",
    OPERATION_NEEDS,
    "The state in which the lower end counts: from the end of the other operation or from when the state was last "
    "entered, whichever is later. While the state is another one, the lower end is not reached. The upper "
    "end does not change.",
    examples=({"vacuum": "on"},),
)


def _window_with_keys(fields: Fields) -> TimeSince | None:
    written = fields.get(_WINDOW_LIMIT)
    if written is None:
        return None
    asked = written.mark if isinstance(written, AskedText) else None
    limit = Limit(None, None, NOT_GIVEN_YET) if isinstance(written, AskedText) else written
    if limit.low is None and fields.wrote(_WHILE) and asked is None:
        message = "`while` is about the lower end of the time, but this limit has none"
        fields.problem("one-too-many", _WHILE, message, "Write, for example, `limit: at least 2 h`, or leave it out")
    return TimeSince(
        fields.name,
        limit.low,
        limit.high,
        limit.text,
        fields.get(_FROM),
        fields.get(_UNTIL),
        fields.get_or(WAIVE, ""),
        fields.get_or(PROVES, ()),
        limit.low_open,
        limit.high_open,
        fields.get_or(_WHILE, {}),
        asked,
        fields.get_or(OPERATION_SOURCE, ""),
    )


TIME = Key(
    "time",
    MapShape(
        ByShape(
            "time",
            EitherShape(
                "a limit such as `at most 10 min`, or keys",
                text=TransformedShape(FigureOrAskShape(LimitShape("time", "at most 10 min")), _window),
                entries=KeyedShape(
                    "time-window",
                    "a time window",
                    (_WINDOW_LIMIT, _FROM, _UNTIL, _WHILE, WAIVE, PROVES, OPERATION_SOURCE),
                    _window_with_keys,
                ),
            ),
        ),
        "operations with the accepted time since they were finished",
        key=KeyReferenceShape("operation", "an operation's id"),
        text_hint=time_window_hint,
    ),
    "The time since another operation was last finished: no start before the lower end, no start and no finish after "
    "the upper end. It also comes after the other one. The time runs on while the computer sleeps or is off, "
    "and setting its clock moves no window. If its clocks contradict each other, the window counts as closed and its "
    "wait as not over. A clock that was set back while the computer was off cannot be detected. "
    "`ask` is a time that is still to be filled in: the bench asks for it, with its source, before either operation "
    "can be started.",
    examples=(
        {"apply-sealant": "at most 10 min"},
        {"heat": {"limit": "at most 3 min", "from": "casing-temp", "until": "seated"}},
    ),
)
