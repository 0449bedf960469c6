"""Weak points of steps that are not finished, were taken over from another log, or fail the audit."""

from collections.abc import Iterator

from benchflow.ordering.wording import in_a_sentence, state_text
from benchflow.procedure.plan import Step
from benchflow.review.evidence.ranking import WeakPoint
from benchflow.review.formatting import count
from benchflow.review.log.continuation_remarks import contradicted_states, takeover_text
from benchflow.review.log.facts import OperationFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.rules.joint_progress import joint_progress
from benchflow.session.rules.open_items import required_lots

NAMED = 3
"""At most this many open entries are named. (Own rule.)"""


def not_done_points(log: LoadedLog, step: Step, fact: OperationFact | None) -> Iterator[WeakPoint]:
    """The weak point of a step that is not finished, by what the step does."""
    if step.id in log.state.done:
        return
    if log.damage is not None:
        yield WeakPoint("not-known", f"the log is damaged from line {log.damage.line} on")
        return
    started = fact is not None and fact.started is not None
    if fact is not None and fact.redone and not started:
        words = "reworked, and not done again"
    elif fact is not None and started:
        words = (
            "started, then paused and not finished" if step.id != log.state.in_progress else "started, and not finished"
        )
        words += _open_entries(log, step)
    elif log.facts.session.closed:
        words = "never started"
    else:
        words = "not started yet (the job is still open)"
    seq = fact.started.seq if fact is not None and fact.started is not None else None
    yield WeakPoint("never-done", words, seq, size=_size_of_step(step))


def _size_of_step(step: Step) -> float:
    """1 for a step that tightens, fits, chooses or moves something; 0.6 for one that measures; 0.3 for a look."""
    operation = step.operation
    if operation.tighten is not None or operation.choose or operation.match or operation.uses or step.sets:
        return 1.0
    if operation.record or operation.work_out:
        return 0.6
    # A step with only checks looks at something. A step without any entry does what its title says.
    return 0.3 if operation.check or operation.hold is not None else 1.0


def _open_entries(log: LoadedLog, step: Step) -> str:
    """What is not entered, as the end of a clause: ``; open: 6 of 10 fasteners of stage 2, 1 check``."""
    parts = [*_open_parts(log, step)]
    if not parts:
        return "; nothing is left to enter"
    more = f", and {len(parts) - NAMED} more" if len(parts) > NAMED else ""
    return f"; open: {', '.join(parts[:NAMED])}{more}"


def _open_parts(log: LoadedLog, step: Step) -> Iterator[str]:
    operation, work = step.operation, log.state.work(step.id)
    progress = joint_progress(log.state, step)
    if progress is not None and progress.next is not None:
        left = len(progress.order) - len(progress.accepted)
        where = f"stage {progress.stage_number} of {len(progress.tighten.stages)} of {progress.joint.id}"
        yield f"{left} of {count(len(progress.order), 'fastener')} in {where}"
    yield from (record.ask or record.name for record in operation.record if not work.readings.get(record.name))
    checks = sum(number not in work.checks for number in range(1, len(operation.check) + 1))
    if checks:
        yield count(checks, "check")
    yield from (choice.name for choice in operation.choose if choice.name not in work.chosen)
    yield from (f"the lot of {name}" for name in required_lots(log.state, step) if name not in work.lots)
    if operation.hold is not None and work.signed is None:
        yield "the signature"


def answered_no_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    """Checks whose last answer is no, and parts that differ from the procedure's choice, in a step that is done."""
    if step.id not in log.state.done:
        return
    work = log.state.work(step.id)
    for number, seq in work.failed.items():
        if number <= len(step.operation.check):
            words = f"the check “{step.operation.check[number - 1].text}” was answered no"
            yield WeakPoint("check-no", words, seq, f"check {number}")
    for name, part in work.chosen.items():
        about = work.deviations.get(name)
        if about is not None:
            words = f"{name}: {part} was fitted, which is not what the procedure chooses ({about.reason})"
            yield WeakPoint("other-part", words, work.choice_seqs.get(name), name)


def takeover_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    """The weak points of a step that was taken over from the log that this job continues."""
    takeover = log.state.work(step.id).takeover
    if takeover is None:
        return
    kind = "taken-over" if takeover.event.basis == "trusted" else "taken-on-trust"
    yield WeakPoint(kind, takeover_text(log.state, step.id), takeover.seq)
    for found in contradicted_states(log.state):
        if found.step == step.id:
            set_ = in_a_sentence(state_text(log.procedure, found.variable, found.value))
            asked = in_a_sentence(state_text(log.procedure, found.variable, log.state.opened.start[found.variable]))
            words = f"it leaves {set_}, but when the state was asked again, {asked}"
            yield WeakPoint("state-contradicted", words, takeover.seq, found.variable)


def audit_points(log: LoadedLog, operation: str) -> Iterator[WeakPoint]:
    """What the audit found wrong in the entries of ``operation``; with "", what it found in lines of no operation."""
    for finding in () if log.audit is None else log.audit.wrong:
        named = "" if not 0 < finding.line <= len(log.lines) else log.lines[finding.line - 1].data.get("operation")
        if (named if named in log.plan.steps else "") == operation:
            yield WeakPoint("failed-audit", finding.message.removesuffix("."), finding.line)


def rework_points(log: LoadedLog, step: Step) -> Iterator[WeakPoint]:
    """Each rework of the step, with its reason."""
    for number, back in enumerate((one for one in log.facts.undone_steps if one.operation == step.id), 1):
        why = f"{back.by}: {back.reason}" if back.cause == "rework" else f"remedy: {back.reason}"
        yield WeakPoint("redone", f"reworked ({why})", back.seq, size=number)
