"""Fold of taking over: an operation counts as done that was done under the log that the job continues.

Taking over changes the value of no state variable, since the state was asked again at the start. The value that an
operation set is put below the state asked again. So undoing the operation gives the value before it, as in the old log.
"""

from collections.abc import Mapping

from msgspec.structs import replace

from benchflow.session.log.line_format import Line
from benchflow.session.state.clock import NOT_KNOWN, EventTime
from benchflow.session.state.continued_job import ContinuedLog, EarlierOperation, OperationTakenOver
from benchflow.session.state.plan_changes import with_findings_made
from benchflow.session.state.state import Signature, State, Takeover, VariableWrite
from benchflow.session.state.state_changes import with_work


def writes_at_start(
    continues: ContinuedLog, asked: Mapping[str, str | None], seq: int
) -> dict[str, tuple[VariableWrite, ...]]:
    """The writes of each state variable at the start of a continued job: its old start value, then the one now.

    ``seq`` is the event that opened the job.
    """
    return {
        name: (VariableWrite(0, "", continues.start.get(name)), VariableWrite(seq, "", value))
        for name, value in asked.items()
    }


def fold_taken_over(state: State, event: OperationTakenOver, line: Line) -> State:
    """Return the state in which the operation of ``event`` is done."""
    continues, step = state.opened.continues, state.plan.steps.get(event.operation)
    earlier = None if continues is None else continues.operation(event.operation)
    done = {name: time for name, time in state.done.items() if name != event.operation}
    done[event.operation] = _finished_at(earlier, event, line)
    work = state.work(event.operation)
    people = work.people if earlier is None else work.people | set(earlier.people)
    enterers = work.enterers if earlier is None else work.enterers | set(earlier.enterers)
    signed = Signature(line.by, line.at, self_signed=False) if event.role else None
    takeover = Takeover(line.by, line.at, line.seq, event)
    work = replace(work, people=people, enterers=enterers, signed=signed, takeover=takeover, finished=line.seq)
    changed_later = {**state.changed_later, event.operation: line.seq}  # no deviation was signed in this log
    state = replace(state, done=done, changed_later=changed_later)
    state = with_findings_made(with_work(state, event.operation, work), event.findings)
    return state if step is None else _with_writes_below(state, event, step.sets, line.seq)


def _finished_at(earlier: EarlierOperation | None, event: OperationTakenOver, line: Line) -> EventTime:
    """When the operation was finished, by the good part of the old log; otherwise this is not known."""
    if earlier is None or not earlier.at or event.basis != "trusted":
        return EventTime(line.seq, line.at, NOT_KNOWN)
    return EventTime(line.seq, earlier.at, earlier.boot, earlier.ms)


def _with_writes_below(state: State, event: OperationTakenOver, sets: Mapping[str, str], seq: int) -> State:
    writes = dict(state.writes)
    for name, value in {**sets, **dict.fromkeys(event.unknown)}.items():
        past = writes.get(name, ())
        count = next((at for at, write in enumerate(past) if at and not write.taken_over), len(past))
        below = (*past[:count], VariableWrite(seq, event.operation, value, taken_over=True))
        above, present = past[count:], state.valuation.get(name)
        if not above and value != present:
            above = (VariableWrite(1, "", present),)
        elif value == present and len(above) == 1 and above[0].seq == 1:
            above = ()
        writes[name] = (*below, *above)
    return replace(state, writes=writes)
