"""The remedy that is next for each value that is out of its limit, and what a remedy makes void.

A reading that is out of its limit and has written remedies on that side is held: it counts again only after the remedy
in turn was carried out. A value calculated from readings of the same operation holds these readings. A value whose
limit depends on readings of the same operation holds these too.
"""

from collections.abc import Collection, Iterator

from msgspec import Struct

from benchflow.ordering.remedy_scope import steps_named, taken_back
from benchflow.procedure import model
from benchflow.procedure.plan import Step
from benchflow.session.rules.done_work import done_work, steps_with_discarded_parts
from benchflow.session.rules.value_results import ReadingRef, ValueResult, results_of, value_results
from benchflow.session.state.state import RemedyKey, State
from benchflow.trade.verdict import RemedySide


class RemedyInTurn(Struct, frozen=True):
    """The remedy in turn for something that is out of its limit on the side ``verdict``, or was answered no.

    ``attempt`` counts the tries of ``remedy``, from 1. ``remedy`` is ``None`` if all were tried. ``final`` is true if
    the work stops: the remedy is to stop, or all were tried.
    """

    verdict: RemedySide
    remedy: model.Remedy | None
    attempt: int

    @property
    def final(self) -> bool:
        return self.remedy is None or self.remedy.stop

    @property
    def instruction(self) -> str:
        """What to do now: the remedy in turn, or why the work stops."""
        if self.remedy is None:
            return "All remedies were carried out"
        if self.remedy.stop:
            return f"Stop here: {self.remedy.do}"
        tries = f" (try {self.attempt} of {self.remedy.tries})" if self.remedy.tries > 1 else ""
        wait = "" if self.remedy.wait is None else f". Then wait {self.remedy.wait.entered}"
        return f"{self.remedy.do.rstrip('. ') if tries or wait else self.remedy.do}{tries}{wait}"


class RemedyProgress(RemedyInTurn, frozen=True):
    """The remedy in turn for one result that is out of its limit."""

    result: ValueResult


def next_remedy(remedies: tuple[model.Remedy, ...], tries: int) -> tuple[model.Remedy | None, int]:
    """The remedy in turn after ``tries``, and which try of it is next; ``None`` if all were tried."""
    for remedy in remedies:
        if remedy.stop or tries < remedy.tries:
            return remedy, tries + 1
        tries -= remedy.tries
    return None, 0


def remedy_progress(state: State, step: Step, name: str | None = None) -> tuple[RemedyProgress, ...]:
    """The remedy in turn of each result of ``step`` that is out of its limit and has remedies on that side.

    With ``name``, only the results of this value. Results that a deviation covers are left out.
    """
    results = value_results(state, step) if name is None else results_of(state, step, name)
    return tuple(_progress_of(state, step, results))


def _progress_of(state: State, step: Step, results: tuple[ValueResult, ...]) -> Iterator[RemedyProgress]:
    counts = state.work(step.id).remedies
    for result in results:
        verdict = result.verdict.verdict
        value = step.record(result.name) or step.work_out(result.name)
        if not result.out or value is None or (verdict != "low" and verdict != "high"):
            continue
        if isinstance(value, model.RecordedValue):
            value = value.by_limit[result.limit]
        remedies = value.below if verdict == "low" else value.above
        if not remedies:
            continue
        tries = counts.get(RemedyKey(result.name, result.slot, verdict, result.limit), 0)
        yield RemedyProgress(verdict, *next_remedy(remedies, tries), result)


def holding(state: State, step: Step, name: str, slot: str) -> RemedyProgress | None:
    """The result that holds a reading of ``step``: a final one if there is one. ``None`` if the reading is free."""
    reading = ReadingRef(step.id, name, slot)
    found = [progress for progress in remedy_progress(state, step) if reading in progress.result.held]
    return next((progress for progress in found if progress.final), found[0] if found else None)


def served_together(chosen: RemedyProgress, of_value: tuple[RemedyProgress, ...]) -> tuple[RemedyProgress, ...]:
    """The results of a value by one limit that one remedy serves: with ``redo``, all whose remedy in turn it is."""
    if chosen.remedy is None or not chosen.remedy.redo:
        return (chosen,)
    served = (p for p in of_value if p.result.limit == chosen.result.limit and p.verdict == chosen.verdict)
    return tuple(p for p in served if p.remedy == chosen.remedy)


def readings_made_void(
    state: State, step: Step, remedy: model.Remedy, served: tuple[RemedyProgress, ...]
) -> dict[str, tuple[str, ...]]:
    """The readings of ``step`` to take again after a remedy, by value.

    With ``redo`` these are all readings of the value, otherwise only those that were out.
    """
    name = served[0].result.name
    results = results_of(state, step, name) if remedy.redo else tuple(progress.result for progress in served)
    found: dict[str, tuple[str, ...]] = {}
    for reading in dict.fromkeys(reading for result in results for reading in result.readings):
        if reading.step == step.id:
            found[reading.name] = (*found.get(reading.name, ()), reading.slot)
    return found


def steps_to_redo(
    state: State, step: Step, remedy: model.Remedy, readings: Collection[str] | None = None
) -> tuple[str, ...]:
    """The steps to redo after a remedy: those in its ``redo``, and every done step that depends on one of them.

    ``step`` itself is one of them only if ``redo`` names it. If ``step`` and an operation in ``redo`` are both repeated
    for places, only the same place is redone. A temporary setting that the remedy goes back past is redone too, and
    so is an operation in which a part was entered that is thrown away. ``readings`` are those that were out. Operations
    that are done only if needed and that the remedy calls for are among them.
    """
    found = steps_named(state.plan, step, remedy, readings)
    history = done_work(state)
    undone = taken_back(state.plan, history, tuple(state.done), _in_plan(state, step, found))
    cleared = {step.id} & set(found)
    while True:
        more = [name for name in steps_with_discarded_parts(state, undone | cleared) if name != step.id]
        wider = undone | taken_back(state.plan, history, tuple(state.done), [*undone, *more])
        if wider <= undone:
            break
        undone = wider
    redone = [name for name in state.plan.steps if name in found or (name in undone and name != step.id)]
    return (*redone, *(name for name in found if name not in state.plan.steps))


def _in_plan(state: State, step: Step, names: tuple[str, ...]) -> list[str]:
    """Those of ``names`` that are steps of the plan, without ``step`` itself."""
    return [name for name in names if name in state.plan.steps and name != step.id]


def steps_without_undo(state: State, step: Step, remedy: model.Remedy) -> tuple[str, ...]:
    """The done steps that a remedy takes back beside those in its `redo`, and that have no `undo`.

    They depend on one in ``redo``, or made a temporary setting after it. An operation that is only reopened because a
    part of it is thrown away is none of them.
    """
    named = steps_named(state.plan, step, remedy)
    undone = taken_back(state.plan, done_work(state), tuple(state.done), _in_plan(state, step, named))
    also = [name for name in state.plan.steps if name in undone and name in state.done and name not in named]
    return tuple(name for name in also if state.plan.steps[name].operation.undo is None)
