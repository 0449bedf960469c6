"""The keys of a remedy, for a value, a stage of tightening or a check."""

from benchflow.procedure.keys.evidence_keys import RESTARTS
from benchflow.procedure.model import Remedy
from benchflow.procedure.shapes.basic_shapes import FILLED_LINE, BooleanShape, IntegerShape, ListShape
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape
from benchflow.procedure.shapes.quantity_shapes import QuantityShape
from benchflow.procedure.shapes.reference_shapes import ReferenceShape
from benchflow.quantity import seconds

MOST_TRIES = 99

_REMEDY_DO = Key("do", FILLED_LINE, "The instruction.", required=True)
_REDO = Key(
    "redo",
    ListShape(ReferenceShape("operation", "an operation's id"), single=True),
    "The ids of the operations to do again afterwards, each with `undo`, and of `if-needed` operations that are then "
    "done. The id of this operation itself clears it; it needs `undo` only if it sets a state or uses up a part.",
)
_TRIES = Key("tries", IntegerShape(1, MOST_TRIES), "The number of tries before the next remedy; by default 1.")
_STOP = Key(
    "stop",
    BooleanShape(),
    "true if the work stops here. Only a deviation, a rework or the correction of a wrong entry gets past it.",
)
_FRESH = Key(
    "fresh",
    BooleanShape(),
    "true if a new part is fitted: the tries of all remedies of the value, check or joint count from zero again.",
)

_WAIT = Key(
    "wait",
    QuantityShape("time"),
    "The time from the remedy until what it was carried out for can be measured, tightened or answered again.",
    examples=("15 min",),
)
_PARTS_FITTED = Key(
    "uses",
    ListShape(ReferenceShape("kit", "a part's name"), single=True, distinct=True),
    "The parts that it fits, from the kit list. Their lots are asked for after it.",
    examples=(["sleeve"],),
)


def _remedy(fields: Fields) -> Remedy | None:
    wait = fields.get(_WAIT)
    if wait is not None and seconds(wait) <= 0:
        fields.problem("bad-quantity", _WAIT, f"`{wait.entered}` is not above zero", "Write, for example, `15 min`")
        return None
    return Remedy(
        fields.get_or(_REMEDY_DO, ""),
        fields.get_or(_REDO, ()),
        fields.get_or(_TRIES, 1),
        fields.get_or(_STOP, False),
        fields.get_or(_FRESH, False),
        fields.mark,
        wait=wait,
        uses=fields.get_or(_PARTS_FITTED, ()),
        restarts=fields.get_or(RESTARTS, ()),
    )


REMEDIES = ListShape(
    KeyedShape(
        "remedy",
        "a remedy",
        (_REMEDY_DO, _REDO, _TRIES, _STOP, _FRESH, _WAIT, _PARTS_FITTED, RESTARTS),
        _remedy,
    ),
    at_least=1,
)


def check_stops(fields: Fields, *keys: Key[tuple[Remedy, ...]]) -> None:
    """Warn of remedies that are never carried out: those after a stop, and what a stop says beside its text."""
    for key in keys:
        remedies = fields.get_or(key, ())
        stop = next((number for number, remedy in enumerate(remedies) if remedy.stop), None)
        if stop is None:
            continue
        at_stop = remedies[stop]
        written = (
            ("redo", at_stop.redo),
            ("tries", at_stop.tries > 1),
            ("fresh", at_stop.fresh),
            ("wait", at_stop.wait is not None),
            ("uses", at_stop.uses),
            ("restarts", at_stop.restarts),
        )
        useless = [f"`{name}`" for name, there in written if there]
        if useless:
            message = (
                f"A remedy with `stop` has {' and '.join(useless)}, but the work stops there: nothing is done again"
            )
            hint = "Delete `stop`, or delete the rest"
            fields.context.problem("never-carried-out", at_stop.mark, message, hint, severity="warning")
        if stop + 1 < len(remedies):
            message = f"`{key.name}` has a remedy after one with `stop`, so it is never carried out"
            hint = "Write the remedy with `stop` as the last one"
            fields.context.problem("never-carried-out", remedies[stop + 1].mark, message, hint, severity="warning")
