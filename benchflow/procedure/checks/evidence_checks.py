"""Checks of the evidence: time windows that count from or until an entry, and proof that anyone can waive."""

from benchflow.base.plaintext import listed
from benchflow.procedure.evidence import ANYONE, evidence_of
from benchflow.procedure.identity import StepId
from benchflow.procedure.model import Operation, Procedure, Ref
from benchflow.procedure.problems import hint_for
from benchflow.procedure.shapes.shape_base import ReadContext


def check_timed_entries(procedure: Procedure, context: ReadContext) -> None:
    """Report a `from` that is not an entry of the other operation, and an `until` that is not one of its own."""
    by_id = procedure.operations_by_id
    for operation in procedure.operations:
        for window in operation.time:
            earlier = by_id.get(StepId.parse(window.operation.name).operation)
            if window.from_ is not None and earlier is not None:
                _check_entry(window.from_, earlier, context)
            if window.until is not None:
                _check_entry(window.until, operation, context)
                if window.high is None and window.asked is None:
                    context.problem(
                        "until-without-limit",
                        window.until.mark,
                        "`until` judges the upper end of the time, but this time has no upper end",
                        "Write an upper end, such as `at most 10 min`, or delete `until`",
                    )


def _check_entry(ref: Ref, operation: Operation, context: ReadContext) -> None:
    entries = entry_names(operation)
    if ref.name not in entries and ref.name not in context.unreadable_names:
        context.problem(
            "unknown-name",
            ref.mark,
            f"`{operation.id}` has no recorded value and no check with the id `{ref.name}`",
            hint_for(ref.name, entries) if entries else "Give a check an id: `check: [{see: ..., id: seated}]`",
        )


def entry_names(operation: Operation) -> tuple[str, ...]:
    """The names of the recorded values of an operation, and the ids of its checks."""
    return (*(record.name for record in operation.record), *(point.id for point in operation.check if point.id))


def note_weak_evidence(procedure: Procedure, context: ReadContext) -> None:
    """Note the variables of interference rules that an operation sets although anyone can waive its evidence.

    An operation that sets several such variables is left out: its evidence may be for any of them. So is evidence with
    a `waive` of its own.
    """
    ruled = {_plain(name) for rule in procedure.interference for name in rule.never}
    weak: dict[str, list[str]] = {}
    for operation in procedure.operations:
        names = [name for name in operation.sets if _plain(name) in ruled]
        if len(names) != 1 or not _lifts_a_rule(procedure, _plain(names[0]), operation.sets[names[0]]):
            continue
        for evidence in evidence_of(procedure, operation):
            proved = [_plain(ref.name) for ref in evidence.proves]
            if evidence.waive == ANYONE and not evidence.chosen and _plain(names[0]) not in proved:
                weak.setdefault(_plain(names[0]), []).append(f"{evidence.name} in `{operation.id}`")
    for name, shown in weak.items():
        context.problem(
            "weak-evidence",
            next(variable.mark for variable in procedure.state if name in (variable.name, variable.family)),
            f"A rule depends on `{name}`, but anyone can waive what shows its state: {listed(shown, 'and')}",
            f"Write `proves: {name}` there, or `waive` with a role or `never`. Otherwise `waive: anyone`",
            severity="note",
        )


def _lifts_a_rule(procedure: Procedure, name: str, value: str) -> bool:
    """True if some rule on the variable, at any place, does not forbid the value."""
    return any(
        value not in forbidden
        for rule in procedure.interference
        for ruled, forbidden in rule.never.items()
        if _plain(ruled) == name
    )


def _plain(name: str) -> str:
    """The name of a state variable without its place."""
    return StepId.parse(name).operation
