"""The work that is done and can be taken back, and the parts that are thrown away with it."""

from collections.abc import Iterable, Mapping
from math import inf

from benchflow.ordering import rework
from benchflow.session.rules.planned_disassembly import parts_thrown_away, used_once_items
from benchflow.session.state.state import State, lot_item


def steps_with_discarded_parts(state: State, undone: Iterable[str]) -> list[str]:
    """The other steps in which the lot of a part was entered that is thrown away when the steps ``undone`` are undone.

    A part whose lot was entered in the undone step itself is that one. Otherwise it is the one of a step that the
    undone step comes after; of the same place, if both are repeated.
    """
    undone = tuple(undone)
    found: dict[str, None] = {}
    for name in undone:
        for item in discarded_items(state, name):
            if any(lot_item(key) == item for key in state.work(name).lots):
                continue
            entered = [other for other, work in state.works.items() if any(lot_item(key) == item for key in work.lots)]
            before = steps_before(state, name)
            place = state.plan.steps[name].place
            for narrower in (
                [other for other in entered if other in before],
                [other for other in entered if place is not None and state.plan.steps[other].place == place],
            ):
                entered = narrower or entered
            found.update(dict.fromkeys(other for other in entered if other not in undone))
    return list(found)


def steps_before(state: State, step_id: str) -> set[str]:
    """The steps that ``step_id`` comes after, directly or indirectly."""
    found, todo = set[str](), [step_id]
    while todo:
        for other in state.plan.steps[todo.pop()].after:
            if other not in found:
                found.add(other)
                todo.append(other)
    return found


def discarded_items(state: State, step_id: str) -> tuple[str, ...]:
    """The kit items that cannot be used again when a step is undone.

    Those that were thrown away when it took something apart as planned are among them.
    """
    step = state.plan.steps.get(step_id)
    thrown = () if step is None or step_id not in state.done else parts_thrown_away(state, step)
    return tuple(dict.fromkeys((*used_once_items(state, step_id), *thrown)))


def done_work(state: State) -> rework.DoneWork:
    """The input of the rework planner: the operations done, in order, and the values written to state variables.

    Operations that are paused or in progress count as done. One that was done before keeps its place.
    """
    writes: Mapping[str, tuple[rework.StateWrite, ...]] = {
        name: tuple(rework.StateWrite(write.step, write.value) for write in past) for name, past in state.writes.items()
    }
    current = () if state.in_progress is None else (state.in_progress,)
    finished = sorted((*state.done, *state.paused, *current), key=lambda name: state.work(name).finished or inf)
    return rework.DoneWork(tuple(finished), dict(writes))
