"""What the operation in hand wants, one thing after another: the line that the builder's key acts on."""

from collections.abc import Callable

from msgspec import Struct

from benchflow.session.view.bench_view import (
    CheckInput,
    ChoiceInput,
    Gauge,
    HoldInput,
    Input,
    LotInput,
    NowView,
    Reading,
    ReadingInput,
    TickValue,
    TightenInput,
    WorkedInput,
)


class WantReading(Struct, frozen=True, tag="want-reading"):
    """One slot of a value."""

    of: ReadingInput
    slot: Reading


class WantTick(Struct, frozen=True, tag="want-tick"):
    """The next fastener of a joint, or one that is to be read again. ``value`` is one of the readings that
    its tick takes (``last`` says whether it is the last of them), ``None`` where it takes none."""

    of: TightenInput
    fastener: int
    stage: int
    value: TickValue | None = None
    last: bool = True


class WantOther(Struct, frozen=True, tag="want-other"):
    """Anything that is one thing by itself: a check, a choice, a lot, a hold, a worked-out value, a part that
    is drawn down, a joint that is done."""

    of: WorkedInput | ChoiceInput | CheckInput | LotInput | TightenInput | HoldInput


class WantFinish(Struct, frozen=True, tag="want-finish"):
    """Nothing more to enter: the operation can be finished."""


Want = WantReading | WantTick | WantOther | WantFinish


class FieldOf(Struct, frozen=True):
    """What a line's field takes: words, or a quantity in ``unit`` (``None``: its unit has to be typed)."""

    words: bool = False
    unit: str | None = None
    limit: str = ""
    gauge: Gauge | None = None


def wants_of(now: NowView | None) -> tuple[Want, ...]:
    """In the author's order, the finishing last; empty when nothing is in hand."""
    if now is None or not now.in_progress:
        return ()
    out: list[Want] = []
    for given in now.inputs:
        if isinstance(given, ReadingInput):
            out.extend(WantReading(given, slot) for slot in given.readings)
        elif isinstance(given, TightenInput):
            out.extend(_joint_wants(given))
        else:
            out.append(WantOther(given))
    return (*out, WantFinish())


def _joint_wants(joint: TightenInput) -> list[Want]:
    if joint.drawing is not None and joint.drawing.open:
        return [WantOther(joint)]
    if joint.next is not None:
        if not joint.wanted:
            return [WantTick(joint, joint.next, joint.stage)]
        return [WantTick(joint, joint.next, joint.stage, value, value == joint.wanted[-1]) for value in joint.wanted]
    if joint.again:
        values = joint.wanted or (TickValue("value", "reading", "", ""),)
        return [WantTick(joint, joint.again[0], joint.again_stage, value, value == values[-1]) for value in values]
    return [WantOther(joint)]


def input_of(want: Want) -> Input | None:
    return None if isinstance(want, WantFinish) else want.of


def field_of(want: Want | None) -> FieldOf | None:
    """The field of a line; ``None`` where there is nothing to type."""
    match want:
        case WantReading(of=given):
            return FieldOf(False, given.unit, given.limit, given.gauge)
        case WantTick(value=TickValue() as value):
            return FieldOf(False, value.unit or None, value.limit)
        case WantOther(of=LotInput()):
            return FieldOf(words=True)
        case WantOther(of=ChoiceInput() as choice) if choice.other:
            return FieldOf(False, choice.other)
        case _:
            return None


def key_of(want: Want) -> str:
    """A name that stays with the thing while the view changes around it; drafts are kept under it."""
    match want:
        case WantFinish():
            return "finish"
        case WantReading():
            return f"reading {want.of.name} {want.slot.slot}"
        case WantTick():
            field = want.value.field if want.value else ""
            return f"joint {want.of.joint} {want.stage} {want.fastener} {field}".strip()
        case WantOther():
            match want.of:
                case LotInput():
                    return f"lot {want.of.consumable}"
                case TightenInput():
                    return f"joint {want.of.joint}"
                case CheckInput():
                    return f"check {want.of.number}"
                case HoldInput():
                    return "hold"
                case WorkedInput() | ChoiceInput():
                    return f"value {want.of.name}"


def is_open(want: Want) -> bool:
    """Whether it still waits for the builder. A value worked out by the program never does."""
    match want:
        case WantFinish():
            return True
        case WantReading():
            return not want.slot.shown or want.slot.stale
        case WantTick():
            return True
        case WantOther():
            return not want.of.complete and not isinstance(want.of, WorkedInput)


def is_amiss(want: Want) -> bool:
    """Entered, and not good enough: the reading itself, or all of them together where they are judged so."""
    if not isinstance(want, WantReading) or want.of.complete:
        return False
    bad = {slot.slot for slot in want.of.readings if slot.verdict in ("out", "not-proven") and not slot.waived}
    if bad:
        return want.slot.slot in bad
    return all(slot.shown for slot in want.of.readings)


def _to_enter(want: Want) -> bool:
    return is_open(want) and not isinstance(want, WantFinish)


def next_want(wants: tuple[Want, ...], after: int = -1) -> int:
    """The line to stand on: the first open one behind ``after``, else the first open one at all, else the
    first that is amiss, else the finish. A gauge that goes on typing fills the open fields in order."""
    order: list[int] = [*range(after + 1, len(wants)), *range(min(after + 1, len(wants)))]
    tests: tuple[Callable[[Want], bool], ...] = (_to_enter, is_amiss)
    for fits in tests:
        found = next((index for index in order if fits(wants[index])), None)
        if found is not None:
            return found
    return max(len(wants) - 1, 0)


def takes_text(want: Want | None) -> bool:
    """Whether the line has a field to type into."""
    return field_of(want) is not None


def is_quantity(want: Want | None) -> bool:
    """Whether what is typed begins with a figure, so that a letter typed first can be a command."""
    field = field_of(want)
    return field is not None and not field.words
