"""The titles that the text of a log uses, and the small texts that several events share."""

from datetime import tzinfo
from decimal import InvalidOperation

from benchflow.ordering.wording import in_a_sentence, step_title
from benchflow.procedure.model import Procedure, RecordedValue, Stage
from benchflow.procedure.plan import Plan
from benchflow.procedure.stage_figures import is_limit
from benchflow.quantity import QuantityError, show_with_typed
from benchflow.session.rules.measurements import from_stored
from benchflow.session.state import events as ev
from benchflow.trade.verdict import VERDICT_TEXT, Verdict

_NO_PROCEDURE = Procedure(id="", title="", revision="")


class LogTitles:
    """The titles of the procedure in a log, and the time zone for its texts.

    Without a plan, the ids in the log are used as titles. ``zone`` ``None`` is the time zone of the computer.
    """

    def __init__(self, plan: Plan | None, zone: tzinfo | None = None) -> None:
        self.zone = zone
        self.plan = plan or Plan(_NO_PROCEDURE, {}, {})
        self.procedure = self.plan.procedure

    def step(self, step: str) -> str:
        """The title of an operation."""
        return step_title(self.plan, step)

    def number(self, step: str) -> int | None:
        """The number of an operation; ``None`` if the plan does not have it."""
        return self.plan.number(step) if step in self.plan.steps else None

    def record(self, step: str, name: str) -> RecordedValue | None:
        planned = self.plan.steps.get(step)
        return planned.record(name) if planned else None

    def calculated(self, step: str, name: str) -> str:
        """The title of a calculated value; without one, its name without dashes."""
        planned = self.plan.steps.get(step)
        values = () if planned is None else planned.operation.work_out
        return next((value.title for value in values if value.name == name and value.title), readable(name))

    def stage(self, step: str, number: int) -> Stage | None:
        planned = self.plan.steps.get(step)
        tighten = planned.operation.tighten if planned else None
        return tighten.stages[number - 1] if tighten and 0 < number <= len(tighten.stages) else None

    def check(self, step: str, number: int) -> str:
        """The text of a check; "" if the plan does not have it."""
        planned = self.plan.steps.get(step)
        checks = planned.operation.check if planned else ()
        return checks[number - 1].text if 0 < number <= len(checks) else ""

    def kit(self, name: str) -> str:
        """The title of a kit item."""
        item = self.procedure.kit_by_id.get(name)
        return name if item is None else item.title or name

    def instrument(self, name: str) -> str:
        """The title of an instrument need, for use inside a sentence."""
        need = self.procedure.instruments_by_id.get(name)
        return (in_a_sentence(need.title) if need is not None else "") or name

    def joint(self, name: str) -> str:
        """The title of a joint."""
        joint = self.procedure.joints_by_id.get(name)
        return name if joint is None else joint.title or name


def quantity_text(stored: ev.StoredQuantity) -> str:
    """``0.12 mm``, or ``35.25 N·m (typed 26 ft-lb)`` rounded to the precision that was typed."""
    try:
        return show_with_typed(from_stored(stored))
    except (QuantityError, InvalidOperation):  # a damaged log, or a unit of a later version
        return f"{stored.value} {stored.unit}".strip()


def figure_text(stored: ev.StoredQuantity) -> str:
    """The figure of a stage: a limit as it was given, ``20 .. 30 N·m``, else as :func:`quantity_text`."""
    return stored.entered.strip() if is_limit(stored.entered) else quantity_text(stored)


def verdict_and_limit(verdict: Verdict, limit: str) -> str:
    """``, ok, limit 0.05 .. 0.15 mm``; "" for a value without a limit."""
    if verdict == "none":
        return ""
    return f", {VERDICT_TEXT[verdict]}" + (f", limit {limit}" if limit else "")


def instrument_text(event: ev.ReadingRecorded | ev.FastenerTicked, titles: LogTitles) -> str:
    """``, with torque wrench (serial W-7)``: the instruments of a reading or tick; "" without one."""
    if isinstance(event, ev.ReadingRecorded) and event.tools:
        shares = (
            titles.instrument(share.instrument or "") + (f" (serial {share.serial})" if share.serial else "")
            for share in event.tools
        )
        return f", with {' and '.join(shares)}"
    if not event.instrument:
        return ""
    return f", with {titles.instrument(event.instrument)}" + (f" (serial {event.serial})" if event.serial else "")


def readable(name: str) -> str:
    """A name or an id without its dashes."""
    return name.replace("-", " ").replace("_", " ")


def number_list(numbers: list[int]) -> str:
    """``1 to 4, 7``: the numbers in the given order, with runs of three or more shortened."""
    spans: list[list[int]] = []
    for number in numbers:
        if spans and number == spans[-1][-1] + 1:
            spans[-1] = [spans[-1][0], number]
        else:
            spans.append([number])
    return ", ".join((" to " if span[-1] - span[0] > 1 else ", ").join(map(str, span)) for span in spans)
