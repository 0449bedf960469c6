"""Interprets the lines of a log: one walk gives the last state of the session and the facts for the review."""

from collections.abc import Callable, Iterable
from functools import lru_cache

import msgspec
from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.procedure.expand import expand
from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Plan
from benchflow.review.log.fact_collector import FactCollector
from benchflow.review.log.facts import Facts
from benchflow.session.log.line_format import Line
from benchflow.session.procedure_loading import ProcedureReader
from benchflow.session.state.events import JobOpened, event_of
from benchflow.session.state.fold import begin_opened, fold_event
from benchflow.session.state.state import State


class NotASession(Exception):
    """The lines are intact, but they are not a session. The message names the line and the mistake."""


class Interpretation(Struct, frozen=True):
    """The content of a log: the state after its last event, and its facts."""

    state: State
    facts: Facts


PlanOf = Callable[[JobOpened], Plan]
"""A function that makes the plan of a session from its first event. It raises BenchflowError if it cannot."""


def plans(read: ProcedureReader, kept: int = 32) -> PlanOf:
    """Return a function that makes plans from the procedures in logs. It caches the last ``kept`` plans."""

    @lru_cache(kept)
    def plan(text: str, options: tuple[tuple[str, str], ...]) -> Plan | BenchflowError:
        try:
            return expand(read(text), dict(options))
        except BenchflowError as error:
            return error

    def plan_of(opened: JobOpened) -> Plan:
        found = plan(opened.procedure, tuple(opened.options.items()))
        if isinstance(found, BenchflowError):
            raise found
        return found

    return plan_of


def plans_or_empty(read: ProcedureReader) -> PlanOf:
    """As :func:`plans`, with an empty plan for a procedure that this version cannot read.

    Facts need little of the procedure, so a log with an unreadable procedure can still be searched.
    """
    readable = plans(read)

    def plan_of(opened: JobOpened) -> Plan:
        try:
            return readable(opened)
        except BenchflowError:
            return Plan(Procedure("", "", ""), opened.options, {})

    return plan_of


def interpret(lines: Iterable[Line], plan_of: PlanOf) -> Interpretation:
    """The state and the facts of a log. Verify its lines first.

    Raises:
        NotASession: there are no lines, the first event is not ``opened``, or an event lacks what its kind
            requires.
        BenchflowError: ``plan_of`` cannot read the procedure.
    """
    state: State | None = None
    collector: FactCollector | None = None
    for line in lines:
        try:
            event = event_of(line)
            if state is None or collector is None:
                if not isinstance(event, JobOpened):
                    raise NotASession(f"line 1 is {line.kind!r}: a session begins with 'opened'")
                state, collector = begin_opened(line, event, plan_of(event)), FactCollector(line)
                continue
            before, state = state, fold_event(state, event, line)
            collector.observe(before, event, state, line)
        except (msgspec.ValidationError, KeyError, TypeError, ValueError, AttributeError) as error:
            raise NotASession(
                f"line {line.seq} ({line.kind}) is not what this kind of event requires: {error}"
            ) from error
    if state is None or collector is None:
        raise NotASession("it is empty: a session begins with 'opened'")
    return Interpretation(state, collector.facts(state))
