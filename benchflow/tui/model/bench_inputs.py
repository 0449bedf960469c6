"""The inputs of the operation in progress, as items. One key enters one item."""

from collections.abc import Callable

from msgspec import Struct
from msgspec.structs import replace

from benchflow.session.view.bench_view import (
    AskedFigure,
    CalculatedInput,
    CheckInput,
    ChoiceInput,
    GaugePositions,
    HoldInput,
    Input,
    LotInput,
    OperationView,
    OtherPart,
    Reading,
    ReadingInput,
    TickValue,
    TightenInput,
)
from benchflow.trade.verdict import NOT_ACCEPTED


class SlotInput(Struct, frozen=True, tag="slot"):
    """One reading of a value. ``used`` is set if the builder has said, before it, whether the part is used."""

    input: ReadingInput
    slot: Reading
    used: bool | None = None


class TickInput(Struct, frozen=True, tag="tick"):
    """The next fastener to tighten in a joint, or one whose reading must be taken again.

    ``value`` is one of the readings that the tick needs, or the optional one while its field is open; ``None`` if there
    is no field. ``last`` is true for the last of these readings.
    """

    input: TightenInput
    fastener: int
    stage: int
    value: TickValue | None = None
    last: bool = True


class WholeInput(Struct, frozen=True, tag="whole"):
    """An input that is one item: check, choice, lot, calculated value, hold, or a joint with nothing to tick."""

    input: CalculatedInput | ChoiceInput | CheckInput | LotInput | TightenInput | HoldInput


class FinishInput(Struct, frozen=True, tag="finish"):
    """The last item: it finishes the operation."""


BenchInput = SlotInput | TickInput | WholeInput | FinishInput


class FieldSpec(Struct, frozen=True):
    """The content of a field: text, or a quantity in ``unit`` (``None``: the unit must be typed)."""

    is_text: bool = False
    unit: str | None = None
    limit: str = ""
    gauge: GaugePositions | None = None


def bench_inputs(now: OperationView | None) -> tuple[BenchInput, ...]:
    """Return all items in the author's order, with the finish last.

    Before the operation is started or continued, these are the open items whose entry starts it. A lot, a signature and
    the finish are not among them.
    """
    if now is None or not (now.in_progress or can_start_by_entry(now)):
        return ()
    out: list[BenchInput] = []
    for given in now.inputs:
        if isinstance(given, ReadingInput):
            out.extend(SlotInput(given, slot) for slot in given.readings)
        elif isinstance(given, TightenInput):
            out.extend(_joint_inputs(given))
        elif now.in_progress or isinstance(given, ChoiceInput | CheckInput):
            out.append(WholeInput(given))
    return (*out, FinishInput()) if now.in_progress else tuple(filter(is_open, out))


def can_start_by_entry(now: OperationView) -> bool:
    """True if the operation is not in progress, not blocked, and the first entry may start it."""
    return now.starts_by_entry and not now.in_progress and not now.missing


def _joint_inputs(joint: TightenInput) -> list[BenchInput]:
    if joint.draw_down is not None and joint.draw_down.open:
        return [WholeInput(joint)]
    if joint.asked is not None or joint.asked_stage or joint.stopped:
        return [WholeInput(joint)]
    if joint.next is not None:
        if not joint.tick_values:
            return [TickInput(joint, joint.next, joint.stage)]
        return [
            TickInput(joint, joint.next, joint.stage, value, value == joint.tick_values[-1])
            for value in joint.tick_values
        ]
    return [WholeInput(joint)]


def asked_figure(item: BenchInput | None) -> AskedFigure | None:
    """Return the figure that has to be given before an item can be entered, ``None`` if there is none."""
    match item:
        case SlotInput(slot=slot):
            return slot.asked
        case WholeInput(input=CalculatedInput() | CheckInput() | TightenInput() as given):
            return given.asked
        case TickInput(input=joint):
            return joint.asked
        case _:
            return None


def input_of(item: BenchInput) -> Input | None:
    """Return the input of the view that an item belongs to, ``None`` for the finish."""
    return None if isinstance(item, FinishInput) else item.input


def field_spec(item: BenchInput | None) -> FieldSpec | None:
    """Return the field of an item, ``None`` if there is nothing to type."""
    match item:
        case SlotInput(input=given, slot=slot) if slot.limit:  # the gauge of the value is that of another reading
            return FieldSpec(False, given.unit, slot.limit)
        case SlotInput(input=given):
            return FieldSpec(False, given.unit, given.limit, given.gauge)
        case TickInput(value=TickValue() as value):
            return FieldSpec(False, value.unit or None, value.limit)
        case WholeInput(input=LotInput()):
            return FieldSpec(is_text=True)
        case WholeInput(input=ChoiceInput() as choice) if choice.other_unit:
            return FieldSpec(False, choice.other_unit)
        case _:
            return None


def draft_key(item: BenchInput) -> str:
    """Return the name under which the draft of an item is kept. It does not change when the view is updated."""
    match item:
        case FinishInput():
            return "finish"
        case SlotInput():
            return f"reading {item.input.name} {item.slot.slot}"
        case TickInput():
            field = item.value.field if item.value else ""
            return f"joint {item.input.joint} {item.stage} {item.fastener} {field}".strip()
        case WholeInput():
            match item.input:
                case LotInput():
                    return f"lot {item.input.consumable}"
                case TightenInput():
                    return f"joint {item.input.joint}"
                case CheckInput():
                    return f"check {item.input.number}"
                case HoldInput():
                    return "hold"
                case CalculatedInput() | ChoiceInput():
                    return f"value {item.input.name}"


def is_open(item: BenchInput) -> bool:
    """True if the builder still has to enter the item. A calculated value is open only if its limit has to be given."""
    match item:
        case FinishInput():
            return True
        case SlotInput():
            return not item.slot.shown
        case TickInput():
            return True
        case WholeInput(input=CalculatedInput() as calculated):
            return calculated.asked is not None
        case WholeInput():
            return not item.input.complete


def is_out_of_limit(item: BenchInput) -> bool:
    """True if a reading is entered but not accepted. Readings that are judged together are then all out of limit."""
    if not isinstance(item, SlotInput) or item.input.complete:
        return False
    outside = {slot.slot for slot in item.input.readings if slot.verdict in NOT_ACCEPTED and not slot.waived}
    if outside:
        return item.slot.slot in outside
    return all(slot.shown for slot in item.input.readings)


def _needs_entry(item: BenchInput) -> bool:
    return is_open(item) and not isinstance(item, FinishInput) and not _is_hold(item)


def _is_open_hold(item: BenchInput) -> bool:
    return is_open(item) and _is_hold(item)


def _is_hold(item: BenchInput) -> bool:
    return isinstance(input_of(item), HoldInput)


def next_input(items: tuple[BenchInput, ...], after: int = -1) -> int:
    """Return the index of the item to select next.

    A joint that is begun comes first: it stays in progress until its last stage. Else the search begins after index
    ``after`` and continues from the first item. It looks for an open item, then for an item out of its limit, then for
    the hold: what is signed must be entered first. If there is none, it returns the last item, which finishes the
    operation. A gauge that types one reading after another therefore fills the open fields in order.
    """
    order: list[int] = [*range(after + 1, len(items)), *range(min(after + 1, len(items)))]
    tests: tuple[Callable[[BenchInput], bool], ...] = (_is_begun_joint, _needs_entry, is_out_of_limit, _is_open_hold)
    for fits in tests:
        found = next((index for index in order if fits(items[index])), None)
        if found is not None:
            return found
    return max(len(items) - 1, 0)


def _is_begun_joint(item: BenchInput) -> bool:
    joint = input_of(item)
    return isinstance(joint, TightenInput) and not joint.complete and bool(joint.last_entry)


def index_of(items: tuple[BenchInput, ...], item: BenchInput) -> int | None:
    """Return the index of an item in the items of a new view, ``None`` if it is not among them.

    A joint is found by its id, even if its next fastener has changed.
    """
    joint = input_of(item)
    for index, each in enumerate(items):
        other = input_of(each)
        same_joint = isinstance(joint, TightenInput) and isinstance(other, TightenInput) and joint.joint == other.joint
        if same_joint or draft_key(each) == draft_key(item):
            return index
    return None


def takes_text(item: BenchInput | None) -> bool:
    """True if the item has a field to type into."""
    return field_spec(item) is not None


def with_other_part(item: BenchInput) -> BenchInput:
    """Return a reading with the limit and the asked figure of the other part: a used one, or a new one."""
    if not isinstance(item, SlotInput) or item.slot.other_part is None:
        return item
    other, slot = item.slot.other_part, item.slot
    back = OtherPart(not other.used, slot.limit or item.input.limit, slot.asked)
    slot = replace(slot, limit=other.limit, asked=other.asked, gauge=None, other_part=back)
    return SlotInput(item.input, slot, other.used)


def with_optional_field(item: BenchInput) -> BenchInput:
    """Return the item with a field for the reading that its tick may have, if it has one."""
    if isinstance(item, TickInput) and item.value is None and item.input.optional_value is not None:
        return TickInput(item.input, item.fastener, item.stage, item.input.optional_value)
    return item


def is_quantity(item: BenchInput | None) -> bool:
    """True if the field takes a quantity. It never begins with a letter, so a letter typed first is a command."""
    field = field_spec(item)
    return field is not None and not field.is_text
