"""Handler of the intent `figure` for what is not a stage: limits, texts of joints, ranges and times."""

import re

from msgspec.structs import replace

from benchflow.base.plaintext import clean, clean_line
from benchflow.procedure.figures_to_fill import FigureToFill, asked_limits, figures_to_fill, instrument_names, joint_key
from benchflow.procedure.identity import ValueRef, name_at
from benchflow.procedure.joint_layouts import layout_of_rows, rows_of_layout
from benchflow.procedure.model import (
    CalculatedValue,
    EqualWithin,
    Joint,
    Mark,
    RecordedValue,
    TimeSince,
    values_of,
)
from benchflow.procedure.plan import Step
from benchflow.procedure.shapes.quantity_shapes import ASK, parse_plain_bound
from benchflow.quantity import QuantityError, parse_limit
from benchflow.session.context import Context, Decision, Entry, quoted_title, refuse, unknown_name, unreadable_quantity
from benchflow.session.intents import intent_types as intents
from benchflow.session.refusal import Refusal
from benchflow.session.rules.calculated_values import calculated_entries
from benchflow.session.state import events as ev
from benchflow.session.state.filled_figures import is_filled_at, mark_of, steps_with
from benchflow.session.state.state import EntryRef, GivenFigure, State

_RELATIVE = re.compile(r"\s*above\s+[A-Za-z][\w-]*.*\bby\b")
Value = RecordedValue | CalculatedValue


class _Asked:
    """A figure that the intent names: where the file asks for it, the step that it belongs to, and how it is read."""

    def __init__(
        self,
        figure: FigureToFill,
        step: Step,
        *,
        value: Value | None = None,
        window: TimeSince | None = None,
        joint: Joint | None = None,
    ) -> None:
        self.figure, self.step, self.value, self.window, self.joint = figure, step, value, window, joint


def fill_in(state: State, intent: intents.GiveFigure, context: Context, by: str) -> Decision:
    """Log a figure of anything but a stage. A given figure can only be corrected."""
    found = _named(state, intent)
    if isinstance(found, Refusal):
        return found
    text = _one_line(found.figure.what, _text_of(intent, found.figure.what))
    wrong = _unreadable(found, text)
    if wrong is not None:
        return wrong
    source = clean_line(intent.source)
    if not source:
        message = f"Give the source of the {found.figure.title} (from), such as a manual and its page"
        return refuse("value-missing", message, operation=found.step.id, name="from")
    mark = found.figure.mark
    event = ev.FigureGiven(
        found.step.id,
        figure=text,
        source=source,
        what=found.figure.what,
        name=found.figure.title,
        asked_at=(mark.line, mark.column),
    )
    entries: tuple[Entry, ...] = (Entry(by, event),)
    return (*entries, *_calculated_again(state, mark, entries, context, by))


def corrected_figure(
    state: State, step: Step, entry: EntryRef, intent: intents.CorrectEntry, reason: str
) -> ev.EntryCorrected | Refusal:
    """The correction of a figure that was filled in, or of its source. Readings are judged again by the figure."""
    mark = mark_of(entry.reading)
    given = state.filled.get(mark)
    if given is None or given.seq != intent.event:
        message = f"The figure in log line {intent.event} no longer counts. Correct the one that does"
        return refuse("not-allowed", message, operation=step.id, name=entry.name)
    source = corrected_source(intent, given)
    if isinstance(source, Refusal):
        return source
    found = _as_asked(state, step, mark)
    text = clean_line(intent.value) if found is None else _one_line(found.figure.what, intent.value)
    if source and text in ("", given.figure):
        return ev.EntryCorrected(intent.event, step.id, reason, source=source)
    wrong = None if found is None else _unreadable(found, text) or _too_late_to_correct(state, found)
    if wrong is not None:
        return wrong
    return ev.EntryCorrected(intent.event, step.id, reason, figure=text, source=source)


def corrected_source(intent: intents.CorrectEntry, given: GivenFigure) -> str | Refusal:
    """The correct source of a figure, "" if it stays as it is; a refusal if nothing is corrected."""
    source = clean_line(intent.source)
    if not intent.value.strip() and source in ("", given.source):
        message = (
            f"Nothing is corrected: it is {given.figure}, source: {given.source}. Give the correct value or source"
        )
        return refuse("value-missing", message, name="value")
    return "" if source == given.source else source


def calculated_after_correction(
    state: State, entry: EntryRef, entries: tuple[Entry, ...], context: Context, by: str
) -> tuple[Entry, ...]:
    """The calculated values whose limit a correction has changed, judged again."""
    return _calculated_again(state, mark_of(entry.reading), entries, context, by)


def _calculated_again(
    state: State, mark: Mark, entries: tuple[Entry, ...], context: Context, by: str
) -> tuple[Entry, ...]:
    found: list[Entry] = []
    for step in state.plan.steps.values():
        if step.id in state.works and any(_asks(work, mark) for work in step.operation.work_out):
            found += calculated_entries(state, step, entries, context, by)
    return tuple(found)


def _asks(value: Value, mark: Mark) -> bool:
    return is_filled_at(value, mark) or any(one.mark == mark for one in asked_limits(value))


# --- which figure -------------------------------------------------------------------------------------


def _named(state: State, intent: intents.GiveFigure) -> _Asked | Refusal:
    if intent.name is not None:
        return _named_limit(state, intent, intent.name)
    if intent.joint is not None:
        return _named_joint(state, intent, intent.joint)
    if intent.instrument is not None:
        return _named_instrument(state, intent.instrument)
    if intent.since is not None and intent.operation is not None:
        return _named_time(state, intent.operation, intent.since)
    message = (
        "Name the figure: `name` of a value, `joint` with `stage` or `lubricant`, `instrument`, or `operation` with "
        "`since`"
    )
    return refuse("value-missing", message, name="name")


def _named_limit(state: State, intent: intents.GiveFigure, name: str) -> _Asked | Refusal:
    place = intent.place if intent.place is not None else intent.reading
    at_place = name_at(name, None if place is None else str(place))
    written = at_place if place is not None and state.plan.values(at_place) else name
    values = state.plan.values(written)
    if not values:
        ref = state.plan.ref(name)  # a reading in the name: `gap[left]`
        values = state.plan.values(str(ValueRef(ref.name, ref.place)))
        place = ref.reading if ref.reading is not None else place
    if not values:
        names = dict.fromkeys(ValueRef.parse(each.name).name for step in state.plan.steps.values()
                              for each in values_of(step.operation))  # fmt: skip
        return unknown_name("value", name, names)
    asked = {(one.what, one.number, one.mark): (one, value) for value in values for one in asked_limits(value)}
    found = [pair for pair in asked.values() if _is_meant(pair[0], intent)]
    slots = [pair for pair in found if pair[0].reading in ("", str(place))] if place is not None else found
    marks = {one.mark for one, _ in slots}
    if len(marks) > 1:
        readings = list(dict.fromkeys(one.reading or value.name for one, value in slots))
        message = f"{name} has {len(marks)} limits to be filled in. Name the reading or the place of one of them"
        return refuse("value-missing", f"{message}: {', '.join(readings)}", name=name)
    if not slots:
        return _not_asked(state, values, intent, name)
    one, value = slots[0]
    plain = ValueRef.parse(value.name).name
    of_all_places = all(_asks(each, one.mark) for each in state.plan.values(plain))
    one = replace(one, name=plain if of_all_places else value.name)
    step = next(step for step in state.plan.steps.values() if any(_asks(each, one.mark) for each in
                values_of(step.operation)))  # fmt: skip
    return _Asked(one, step, value=value)


def _is_meant(figure: FigureToFill, intent: intents.GiveFigure) -> bool:
    if intent.further is not None:
        return (figure.what, figure.number) == ("further", intent.further)
    return figure.what == ("used" if intent.used else "limit")


def _not_asked(state: State, values: tuple[Value, ...], intent: intents.GiveFigure, name: str) -> Refusal:
    value = values[0]
    count = len(value.also) if isinstance(value, RecordedValue) else 0
    if intent.further is not None and not 1 <= intent.further <= count:
        message = f"{name} has {count or 'no'} further limit{'' if count == 1 else 's'}"
        return refuse("unknown-name", message, name=name)
    asked = {one.mark: one for one in figures_to_fill(state.as_written or state.plan.procedure)}
    for mark, given in state.filled.items():
        if any(is_filled_at(each, mark) for each in values) and _is_meant(asked[mark], intent):
            return _already_given(given, name)
    written = "" if value.bound is None else value.bound.text
    why = f"The limit of {name} is in the procedure: {written}" if written else f"{name} has no such limit"
    left = list(dict.fromkeys(one.title for value in values for one in asked_limits(value)))
    message = f"{why}. To be filled in: {', '.join(left)}" if left else why
    return refuse("not-allowed", message, name=name)


def _already_given(given: GivenFigure, name: str) -> Refusal:
    message = f"It is given as {given.figure} (source: {given.source})"
    return refuse("already-done", f"{message}. If that is wrong, correct log line {given.seq}", name=name)


def _texts_of_joint(intent: intents.GiveFigure) -> dict[str, str | None]:
    """What the intent gives for a joint, by the key that asks for it."""
    return {
        "layout": intent.layout, "lubricant": intent.lubricant, "thread": intent.thread, "class": intent.grade
    }  # fmt: skip


def _named_joint(state: State, intent: intents.GiveFigure, name: str) -> _Asked | Refusal:
    steps = {step.operation.tighten.joint: step for step in reversed(tuple(state.plan.steps.values()))
             if step.operation.tighten is not None}  # fmt: skip
    joint = state.plan.procedure.joints_by_id.get(name)
    if joint is None or name not in steps:
        return unknown_name("joint of this build", name, steps)
    keys = [key for key, text in _texts_of_joint(intent).items() if text is not None]
    if len(keys) != 1:
        asked = list(joint.asked) or ["stage"]
        message = f"Say what is given for {name}, one at a time: {', '.join(asked)}"
        return refuse("value-missing", message, name=name)
    key = keys[0]
    if key in joint.asked:
        return _Asked(FigureToFill(joint_key(key), name, joint.asked[key]), steps[name], joint=joint)
    written = (state.as_written or state.plan.procedure).joints_by_id[name].asked
    given = state.filled.get(written[key]) if key in written else None
    if given is not None:
        return _already_given(given, name)
    return refuse("not-allowed", f"The {key} of {name} is not one that the procedure asks for", name=name)


def _named_instrument(state: State, name: str) -> _Asked | Refusal:
    need = state.plan.procedure.instruments_by_id.get(name)
    users = [step for step in state.plan.steps.values() if name in instrument_names(step.operation)]
    if need is None:
        return unknown_name("instrument", name, state.plan.procedure.instruments_by_id)
    if not users:
        return refuse("not-allowed", f"No operation of this build uses {need.title or name}", name=name)
    if need.asked is None:
        written = (state.as_written or state.plan.procedure).instruments_by_id[name].asked
        given = None if written is None else state.filled.get(written)
        if given is None:
            return refuse("not-allowed", f"The range of {name} is not one that the procedure asks for", name=name)
        return _already_given(given, name)
    return _Asked(FigureToFill("covers", name, need.asked), users[0])


def _named_time(state: State, operation: str, since: str) -> _Asked | Refusal:
    steps = [step for step in state.plan.steps.values() if operation in (step.id, step.operation.id)]
    if not steps:
        return unknown_name("operation", operation, state.plan.steps)
    windows = {window.operation.name: window for window in steps[0].operation.time}
    window = windows.get(since)
    if window is None:
        return unknown_name(f"time of {operation}", since, windows)
    if window.asked is not None:
        figure = FigureToFill("time", steps[0].operation.id, window.asked, since=since)
        return _Asked(figure, steps[0], window=window)
    for asked in (state.as_written or state.plan.procedure).operations_by_id[steps[0].operation.id].time:
        if asked.operation.name == since and asked.asked in state.filled:
            return _already_given(state.filled[asked.asked], since)
    return refuse("not-allowed", f"The time is in the procedure: {window.text}", operation=steps[0].id, name=since)


def _as_asked(state: State, step: Step, mark: Mark) -> _Asked | None:
    """The figure that was asked for at this place of the procedure, as it is corrected."""
    for each in (step, *steps_with(state.plan, mark)):
        for value in values_of(each.operation):
            if is_filled_at(value, mark):
                return _Asked(FigureToFill("limit", value.name, mark), each, value=value)
    written = state.as_written or state.plan.procedure
    for window in written.operations_by_id[step.operation.id].time:
        if window.asked == mark:
            return _Asked(
                FigureToFill("time", step.operation.id, mark, since=window.operation.name), step, window=window
            )
    for need in written.instruments:
        if need.asked == mark:
            return _Asked(FigureToFill("covers", need.id, mark), step)
    for joint in written.joints:
        for key, at in joint.asked.items():
            if at == mark:
                return _Asked(FigureToFill(joint_key(key), joint.id, mark), step, joint=joint)
    return None


def _too_late_to_correct(state: State, found: _Asked) -> Refusal | None:
    """A refusal of a correction that could not be judged any more: the work was done by the wrong figure."""
    if found.figure.what == "time":
        done = [name for name in state.done if state.plan.steps[name].operation.id == found.figure.name]
        if done:
            message = (
                f"{quoted_title(state, done[0])} was done within the time as given. Rework it, then correct the time"
            )
            return refuse("not-allowed", message, operation=done[0], name=found.figure.since)
    work = state.work(found.step.id)
    if found.figure.what == "lubricant" and (work.ticks or work.turns):
        message = (
            f"{found.figure.name} is tightened with the lubricant as given. Clear the ticks, then correct it. If only "
            "its spelling is wrong, add a note instead"
        )
        return refuse("not-allowed", message, operation=found.step.id, name=found.figure.name)
    if found.figure.what == "layout" and (work.ticks or work.turns):
        message = f"{found.figure.name} is tightened in the order as given. Clear the ticks, then correct the order"
        return refuse("not-allowed", message, operation=found.step.id, name=found.figure.name)
    if found.figure.what == "covers" and found.figure.name in state.tools:
        message = f"{found.figure.name} was used already, and was judged by the range as given. Add a note instead"
        return refuse("not-allowed", message, name=found.figure.name)
    return None


# --- what is given ------------------------------------------------------------------------------------


def _text_of(intent: intents.GiveFigure, what: str) -> str:
    given = _texts_of_joint(intent).get(what)
    return intent.value if given is None else given


def _one_line(what: str, text: str) -> str:
    """The text of a figure on one line. The rows of a tightening order keep their places, separated by ``/``."""
    if what == "layout":
        try:
            return rows_of_layout(layout_of_rows("/".join(map(clean, text.splitlines()))))
        except ValueError:
            pass  # refused when it is read
    return clean_line(text)


def _unreadable(found: _Asked, text: str) -> Refusal | None:
    """A refusal of a figure that cannot be read, or that the procedure cannot use; ``None`` if it is good."""
    name = found.figure.name
    if not text or text == ASK:
        message = f"Enter the {found.figure.title}, as the source prints it"
        return refuse("value-missing", message, operation=found.step.id, name=name)
    try:
        match found.figure.what:
            case "limit" | "used" | "further":
                return _wrong_limit(found, text)
            case "time":
                limit = parse_limit(text, dimension="time", nominal=False)
                if found.window is not None and found.window.while_ and limit.low is None:
                    message = "This time counts in a state (`while`), so it needs a lower end, such as at least 2 h"
                    return refuse("bad-quantity", message, operation=found.step.id, name=name)
            case "covers":
                parse_limit(text, nominal=False)
            case "layout":
                return _wrong_layout(found, text)
            case "lubricant" | "thread":
                return _wrong_text(found, text)
            case _:
                pass
    except QuantityError as error:
        return unreadable_quantity(error, name)
    return None


_NOT_OF_A_THREAD = ("torque", "angle", "time", "temperature")
"""Dimensions that no thread is named by. A pipe thread may be named by a length."""


def _wrong_text(found: _Asked, text: str) -> Refusal | None:
    """A refusal of a quantity as lubricant, or of another text as thread: it was meant for another figure."""
    if found.figure.what == "lubricant" and _is_of(text, None):
        message = f"“{text}” is a quantity, not a lubricant. Name the lubricant, such as engine oil, or dry"
    elif found.figure.what == "thread" and (
        not any(char.isdigit() for char in text) or any(_is_of(text, dimension) for dimension in _NOT_OF_A_THREAD)
    ):
        message = f"“{text}” is not a thread. Write it as printed, such as M10x1.25 or 3/8-24"
    else:
        return None
    return refuse("bad-quantity", message, operation=found.step.id, name=found.figure.name)


def _is_of(text: str, dimension: str | None) -> bool:
    """True if ``text`` is a quantity or limit of this dimension; of any if it is ``None``."""
    try:
        parse_limit(text, dimension=dimension)
    except QuantityError:
        return False
    return True


def _wrong_layout(found: _Asked, text: str) -> Refusal | None:
    name, joint = found.figure.name, found.joint
    assert joint is not None  # a layout is of a joint
    try:
        layout = layout_of_rows(text)
    except ValueError as error:
        return refuse("bad-quantity", str(error), operation=found.step.id, name=name)
    count = sum(number is not None for row in layout for number in row)
    if joint.count > 1 and count != joint.count:
        message = f"{name} has {joint.count} fasteners, but {count} are numbered. Number each of them"
        return refuse("bad-quantity", message, operation=found.step.id, name=name)
    return None


def _wrong_limit(found: _Asked, text: str) -> Refusal | None:
    value, name = found.value, found.figure.name
    assert value is not None  # a limit is of a value
    if _RELATIVE.match(text):
        message = "A limit relative to another value belongs in the procedure, because it decides about the order"
        return refuse("bad-quantity", f"{message}. Enter the limit in numbers", operation=found.step.id, name=name)
    difference = value.judge == "spread" if isinstance(value, RecordedValue) else None
    bound = parse_plain_bound(text, value.dimension, difference=difference)
    several = isinstance(value, RecordedValue) and len(value.slots) > 1 and not value.by_reading
    if isinstance(bound, EqualWithin) and not several:
        message = f"`equal within` compares several readings, but {name} has one figure. Enter a limit in numbers"
        return refuse("bad-quantity", message, operation=found.step.id, name=name)
    return None
