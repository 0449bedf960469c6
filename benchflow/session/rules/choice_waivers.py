"""The entries that the choice of a part rests on, and the deviation that covers it."""

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import PartChoice, PartMatching
from benchflow.procedure.plan import Step
from benchflow.session.rules.deviation_subjects import covering_deviation
from benchflow.session.rules.value_results import entries_of, readings_named
from benchflow.session.state.state import Deviation, State


def choice_entries(state: State, step: Step, choose: PartChoice) -> frozenset[int]:
    """The ``seq`` of each reading that the table looks up, and of the choice if there is one."""
    return table_entries(state, step, choose) | _choice_entry(state, step, choose.name)


def table_entries(state: State, step: Step, choose: PartChoice) -> frozenset[int]:
    """The ``seq`` of each reading that the table looks up."""
    own = ValueRef(choose.by, step.place)
    readings = readings_named(state, own) or readings_named(state, state.plan.ref(choose.by))
    return entries_of(state, readings)


def match_entries(state: State, step: Step, match: PartMatching, place: str) -> frozenset[int]:
    """The ``seq`` of each reading that the result at ``place`` is calculated from, and of the part chosen for it."""
    from benchflow.procedure.formula import present_names  # late import: most entries need no formula

    entries = _choice_entry(state, step, str(ValueRef(match.name, place)))
    work = step.work_out(match.so_that)
    for ref in () if work is None else present_names(state.plan.formula(work)):
        for one in state.plan.refs(ValueRef(ref.name, ref.place, ref.reading)):
            at_place = readings_named(state, ValueRef(one.name, one.place or place, one.reading))
            entries |= entries_of(state, at_place or readings_named(state, one))
    return entries


def choice_waiver(state: State, step: Step, choose: PartChoice) -> Deviation | None:
    """The deviation that covers the choice from a table; ``None`` if there is none."""
    return covering_deviation(state.work(step.id), (choose.name,), choice_entries(state, step, choose))


def table_waiver(state: State, step: Step, choose: PartChoice) -> Deviation | None:
    """The deviation that covers readings without a part in the table; ``None`` if there is none.

    A part that is chosen after the deviation was signed does not make it void.
    """
    return covering_deviation(state.work(step.id), (choose.name,), table_entries(state, step, choose))


def match_waiver(state: State, step: Step, match: PartMatching, place: str) -> Deviation | None:
    """The deviation that covers the part chosen for ``place``; ``None`` if there is none."""
    subjects = (str(ValueRef(match.name, place)), match.name)
    return covering_deviation(state.work(step.id), subjects, match_entries(state, step, match, place))


def _choice_entry(state: State, step: Step, name: str) -> frozenset[int]:
    seq = state.work(step.id).choice_seqs.get(name)
    return frozenset() if seq is None else frozenset((seq,))
