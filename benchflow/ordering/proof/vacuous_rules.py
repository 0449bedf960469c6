"""Finds interference rules about a state that nothing in the procedure can bring about.

A rule that `after` and `needs` lines keep is not one of these: it says what they are for, and the proof holds them
against it. So the order is left aside here. Each operation, undo and move may be made at any time and again, only what
it sets counts, a variable that may become not known may be so at any time, and one with `found` may be found at any
value. A rule that forbids nothing even then
says something that cannot happen, such as a value that no line sets.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import product

from benchflow.ordering.interlock import moves_of
from benchflow.ordering.proof.lost_evidence import variables_that_may_be_lost
from benchflow.ordering.proof.proof_findings import OrderFinding, finding
from benchflow.ordering.wording import all_of, state_text
from benchflow.procedure.evidence import NEVER
from benchflow.procedure.model import Procedure, Rule
from benchflow.procedure.plan import Plan

_MOST_STATES = 20_000
"""The most combinations of values of the variables of one rule. A rule with more is not reported."""

Written = Mapping[str, str | None]
"""The values that an action writes; ``None`` for a value that is not known then, which matches every rule."""


def vacuous_rules(procedure: Procedure, plans: Sequence[Plan]) -> Iterator[OrderFinding]:
    """A finding for each rule about a state that nothing brings about in any of ``plans``, which are all builds."""
    marks = list(dict.fromkeys(rule.mark for rule in procedure.interference))
    for number, mark in enumerate(marks, 1):
        # A rule about variables by place is one rule for each place.
        rules = [rule for rule in procedure.interference if rule.mark == mark]
        if not any(_can_come_about(plan, rule) for rule in rules for plan in plans):
            yield finding("vacuous-rule", f"interference[{number}]", mark, _message(procedure, plans, rules[0]))


def _can_come_about(plan: Plan, rule: Rule) -> bool:
    """True if some sequence of actions brings about what the rule forbids, or if there are too many to tell."""
    names = list(rule.never)
    starts = [dict(zip(names, values, strict=True)) for values in product(*(_starts(plan, name) for name in names))]
    actions = list(_actions(plan, names))
    seen: dict[tuple[str | None, ...], None] = {tuple(start.values()): None for start in starts}
    waiting = list(seen)
    while waiting:
        if len(seen) > _MOST_STATES:
            return True
        here = dict(zip(names, waiting.pop(), strict=True))
        if _matches(rule, here):
            return True
        for during, sets in actions:
            if _matches(rule, {**here, **during}):
                return True
            then = tuple({**here, **sets}.values())
            if then not in seen:
                seen[then] = None
                waiting.append(then)
    return False


def _matches(rule: Rule, values: Written) -> bool:
    return all(values[name] is None or values[name] in forbidden for name, forbidden in rule.never.items())


def _starts(plan: Plan, name: str) -> tuple[str, ...]:
    variable = plan.procedure.variables_by_name[name]
    return variable.values if variable.start is None else (variable.start,)


def _actions(plan: Plan, names: Sequence[str]) -> Iterator[tuple[Written, Written]]:
    """What each action writes of these variables while it is made, and afterwards."""
    written = [(step.during, step.sets) for step in plan.steps.values()]
    written += [(move.during, move.sets) for move in moves_of(plan).values()]
    for during, sets in written:
        yield _of(during, names), _of(sets, names)
    for step in plan.steps.values():
        if step.operation.undo is not None:  # restores what was before, except where it says otherwise
            restored = [name for name in step.sets if name in names and name not in step.undo_sets]
            for values in product(*(sorted(_values(plan, name)) for name in restored)):
                yield {}, {**_of(step.undo_sets, names), **dict(zip(restored, values, strict=True))}
    for variable in plan.procedure.state:
        if variable.name in names and variable.found not in ("", NEVER):  # the author says who may find it so
            yield from (({}, {variable.name: value}) for value in variable.values)
    for losable in variables_that_may_be_lost(plan):
        if losable.variable.name in names:
            yield {}, {losable.variable.name: None}


def _of(written: Written, names: Sequence[str]) -> Written:
    return {name: value for name, value in written.items() if name in names}


def _values(plan: Plan, name: str) -> set[str]:
    """Every value that a start, an operation, its undo or a move gives to a variable, also while it is made."""
    found = set(_starts(plan, name))
    for step in plan.steps.values():
        found |= {value for one in (step.during, step.sets, step.undo_sets) if (value := one.get(name)) is not None}
    for move in moves_of(plan).values():
        found |= {one[name] for one in (move.during, move.sets) if name in one}
    return found


def _message(procedure: Procedure, plans: Sequence[Plan], rule: Rule) -> str:
    begin = "This rule never blocks anything. "
    for name, forbidden in rule.never.items():
        if not any(_values(plan, name) & set(forbidden) for plan in plans):
            texts = all_of(f"“{state_text(procedure, name, value)}”" for value in forbidden)
            return (
                f"{begin}Nothing brings about {texts}: no start, and no `sets` or `during`. Correct the value in the "
                "rule, write it where it comes about, or delete the rule"
            )
    texts = all_of(f"“{state_text(procedure, name, values[0])}”" for name, values in rule.never.items())
    return (
        f"{begin}No operation and no move brings {texts} together, in whatever order. Correct the rule, write the "
        "`sets` or `during` that is missing, or delete the rule"
    )
