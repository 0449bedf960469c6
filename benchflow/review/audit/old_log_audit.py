"""Audits a log without intents (format 1 and 2): order, interference and evidence are checked from its events."""

from collections.abc import Iterator, Sequence

import msgspec

from benchflow.base.errors import BenchflowError
from benchflow.procedure.model import Procedure
from benchflow.review.audit.audit_report import ALWAYS_WRONG, AuditFinding, kind_of_refusal, known_to_rules
from benchflow.review.formatting import count
from benchflow.session.context import Context
from benchflow.session.log.line_format import Line
from benchflow.session.refusal import Reason
from benchflow.session.rules.action_reasons import close_reasons, move_reasons, start_reasons
from benchflow.session.rules.open_items import finish_reasons
from benchflow.session.state import events as ev
from benchflow.session.state.clock import Now, event_time
from benchflow.session.state.fold import begin, fold_event
from benchflow.session.state.state import State


def old_log_findings(lines: Sequence[Line], procedure: Procedure, log_format: int) -> Iterator[AuditFinding]:
    """Steps out of order, against a rule of damage, or without their evidence, and notes on what cannot be audited."""
    text = (
        f"The log has format {log_format}, which does not have the intents. They cannot be decided again: only order, "
        "interference and evidence are checked, from the events."
    )
    yield AuditFinding(1, 0, "group", text, wrong=False)
    unknown = [line for line in lines if line.kind not in ev.EVENT_TYPES]
    if unknown:
        what = f"{count(len(unknown), 'event')} from line {unknown[0].seq} on cannot be read"
        text = f"{what}, so the order of the steps is not known."
        yield AuditFinding(unknown[0].seq, 0, "group", text, wrong=False)
        return
    try:
        state = begin(lines[0], procedure)
        for line in lines[1:]:
            event = ev.event_of(line)
            reasons = _reasons(state, event, line)
            kind = kind_of_refusal(reasons)
            if kind in ALWAYS_WRONG:
                messages = " ".join(reason.message for reason in reasons if kind_of_refusal((reason,)) in ALWAYS_WRONG)
                codes = tuple(dict.fromkeys(reason.code for reason in reasons))
                yield AuditFinding(line.seq, 0, kind, f"Line {line.seq} ({line.kind}): {messages}", codes)
            state = fold_event(state, event, line)
    except (msgspec.ValidationError, BenchflowError, LookupError, TypeError, ValueError, AssertionError) as error:
        text = f"Line {state.seq + 1} cannot be read: {error}. The audit ends here."
        yield AuditFinding(state.seq + 1, 0, "group", text)


def _reasons(state: State, event: ev.AnyEvent | None, line: Line) -> tuple[Reason, ...]:
    """The reasons of the present rules against the step that ``event`` logs."""
    time = event_time(line)
    context = Context(Now(line.at, time.boot, time.ms))
    match event:
        case ev.OperationStarted() if event.operation in state.plan.steps:
            return known_to_rules(start_reasons(state, event.operation, context), rules=0)
        case ev.OperationFinished() if event.operation in state.plan.steps:
            if state.in_progress != event.operation:
                return (Reason("not-started", f"{event.operation} was finished but is not in progress"),)
            return tuple(finish_reasons(state, state.plan.steps[event.operation], context.now))
        case ev.MoveMade() if event.move in state.plan.procedure.moves_by_id:
            return move_reasons(state, event.move)
        case ev.JobClosed():
            return close_reasons(state, bool(event.reason))
    return ()
