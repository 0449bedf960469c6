"""What may be done next, and every reason why something may not.

A step (an operation of the plan) may be taken up when everything in its ``after`` is done, its ``needs``
stand, and no interference rule matches while it is in hand (``during`` over the current values) or when it
is done (``sets`` written). A move needs its ``needs`` and must leave nothing that a rule forbids. A variable
that is not known meets no need and matches every rule that names it.
"""

from collections.abc import Iterator
from typing import Literal

from msgspec import Struct

from benchflow.ordering.configuration import Configuration, Valuation, after_setting, matches, unmet
from benchflow.ordering.wording import (
    all_of,
    in_a_sentence,
    move_title,
    must_stand,
    one_of,
    stands,
    step_title,
    value_words,
    variable_named,
    variable_title,
)
from benchflow.procedure.model import Move, Settings, Values
from benchflow.procedure.plan import Plan

Phase = Literal["during", "done"]


class AfterMissing(Struct, frozen=True, tag="after-missing"):
    """An operation that comes first is not done."""

    operation: str


class StateNotMet(Struct, frozen=True, tag="state-not-met"):
    """``stands`` is ``None`` when it is not known."""

    variable: str
    stands: str | None
    wanted: tuple[str, ...]


class Lift(Struct, frozen=True):
    """What would lift an interference: ``variable`` at one of ``values``, which these moves, and these
    operations still to be done, bring about. They may themselves be blocked now."""

    variable: str
    values: tuple[str, ...]
    moves: tuple[str, ...] = ()
    operations: tuple[str, ...] = ()


class Interference(Struct, frozen=True, tag="interference"):
    """``rule`` indexes ``Procedure.interference``. ``together`` holds the values that would stand together
    (``None`` where not known) at ``moment``; ``written`` names those that the step itself brings about."""

    rule: int
    moment: Phase
    together: Valuation
    written: tuple[str, ...]
    lifts: tuple[Lift, ...]


class AlreadyDone(Struct, frozen=True, tag="already-done"):
    operation: str


class NotInThisBuild(Struct, frozen=True, tag="unknown-name"):
    """No such operation or move, or not with the options chosen."""

    name: str


Blocked = AfterMissing | StateNotMet | Interference | AlreadyDone | NotInThisBuild


def code(reason: Blocked) -> str:
    """The refusal code of the procedure format."""
    tag = reason.__struct_config__.tag
    assert isinstance(tag, str)
    return tag


def step_reasons(plan: Plan, configuration: Configuration, step_id: str) -> tuple[Blocked, ...]:
    """Every reason why the step may not be taken up now; empty when it may."""
    step = plan.steps.get(step_id)
    if step is None:
        return (NotInThisBuild(step_id),)
    if step_id in configuration.done:
        return (AlreadyDone(step_id),)
    missing = (AfterMissing(name) for name in dict.fromkeys(step.after) if name not in configuration.done)
    return (
        *missing,
        *_states(configuration.valuation, step.needs),
        *interferences(plan, configuration, (("during", step.during), ("done", step.sets))),
    )


def move_reasons(plan: Plan, configuration: Configuration, move_id: str) -> tuple[Blocked, ...]:
    """Every reason why the move may not be made now; empty when it may."""
    move = moves_of(plan).get(move_id)
    if move is None:
        return (NotInThisBuild(move_id),)
    return (
        *_states(configuration.valuation, move.needs),
        *interferences(plan, configuration, (("done", move.sets),)),
    )


def moves_of(plan: Plan) -> dict[str, Move]:
    """The moves of this build: those whose ``when`` holds for the options chosen."""
    return {
        move.id: move
        for move in plan.procedure.moves
        if all(plan.options.get(option) in wanted for option, wanted in move.when.items())
    }


def forbidden(plan: Plan, valuation: Valuation) -> tuple[int, ...]:
    """The rules that these values break, as indices into ``Procedure.interference``."""
    return tuple(index for index, rule in enumerate(plan.procedure.interference) if matches(valuation, rule.never))


def while_in_progress(plan: Plan, configuration: Configuration, step_id: str) -> Valuation:
    """How the assembly stands while the step is in hand."""
    return after_setting(configuration.valuation, plan.steps[step_id].during)


def after_step(plan: Plan, configuration: Configuration, step_id: str) -> Configuration:
    """The configuration when the step is done. Asks nothing: see :func:`step_reasons`."""
    step = plan.steps[step_id]
    return Configuration(configuration.done | {step_id}, after_setting(configuration.valuation, step.sets))


def after_move(plan: Plan, configuration: Configuration, move_id: str) -> Configuration:
    """The configuration when the move is made. Asks nothing: see :func:`move_reasons`."""
    move = plan.procedure.moves_by_id[move_id]
    return Configuration(configuration.done, after_setting(configuration.valuation, move.sets))


# --- in a mechanic's words --------------------------------------------------------------------------


def reason_text(plan: Plan, reason: Blocked) -> str:
    """One or two sentences for the bench, such as "Pistons stand at the deck; an open valve would reach
    them"."""
    procedure = plan.procedure
    match reason:
        case AfterMissing(operation):
            return f"“{step_title(plan, operation)}” comes first and is not done"
        case StateNotMet(variable, None, wanted):
            return f"{must_stand(procedure, variable, wanted)}; how it stands is not known"
        case StateNotMet(variable, value, wanted):
            now = value_words(procedure, variable, value)
            return f"{must_stand(procedure, variable, wanted)}; now: {now}"
        case Interference():
            return _interference_words(plan, reason)
        case AlreadyDone(operation):
            return f"“{step_title(plan, operation)}” is already done"
        case NotInThisBuild(name):
            return f"“{name}” is not part of this build"


def lift_text(plan: Plan, lift: Lift) -> str:
    """``Lifted when pistons stand down: turn the crank down``."""
    procedure = plan.procedure
    wanted = one_of(value_words(procedure, lift.variable, value) for value in lift.values)
    ways = [move_title(procedure, name) for name in lift.moves]
    ways += [step_title(plan, name) for name in lift.operations]
    how = f" (by {one_of(f'“{way}”' for way in ways)})" if ways else ""
    return f"Lifted with {in_a_sentence(variable_title(procedure, lift.variable))} {wanted}{how}"


def _interference_words(plan: Plan, reason: Interference) -> str:
    procedure = plan.procedure
    because = procedure.interference[reason.rule].because
    standing = [name for name in reason.together if name not in reason.written]
    # What the step itself brings about is what the author's `because` speaks of; what stands already
    # is what the builder has to see. Where nothing stands already the step's own values are named.
    told = standing or list(reason.together)
    clauses = [stands(procedure, name, reason.together[name]) for name in told]
    clauses[1:] = [in_a_sentence(clause) for clause in clauses[1:]]
    sentence = all_of(clauses)
    if not standing:
        moment = "While it is in hand" if reason.moment == "during" else "When it is done"
        sentence = f"{moment}, {in_a_sentence(sentence)}"
    if not because:
        others = all_of(
            f"{in_a_sentence(variable_title(procedure, name))} {value_words(procedure, name, value)}"
            for name, value in reason.together.items()
            if name not in told
        )
        return f"{sentence}; never together with {others}" if others else f"{sentence}; that must never be"
    return f"{sentence}. {because}" if because[:1].isupper() else f"{sentence}; {because}"


# --- the conditions ---------------------------------------------------------------------------------


def _states(valuation: Valuation, needs: Values) -> Iterator[StateNotMet]:
    for name, wanted in unmet(valuation, needs).items():
        yield StateNotMet(name, valuation.get(name), wanted)


def interferences(
    plan: Plan, configuration: Configuration, moments: tuple[tuple[Phase, Settings], ...]
) -> Iterator[Interference]:
    """The rules that match with these settings over the configuration. A rule is named once, at the first
    moment that it matches."""
    rules = plan.procedure.interference
    named: set[int] = set()
    for moment, written in moments:
        valuation = after_setting(configuration.valuation, written)
        for index, rule in enumerate(rules):
            if index in named or not matches(valuation, rule.never):
                continue
            named.add(index)
            yield Interference(
                rule=index,
                moment=moment,
                together={name: valuation.get(name) for name in rule.never},
                written=tuple(name for name in rule.never if name in written),
                lifts=tuple(_lifts(plan, configuration, rule.never, written)),
            )


def _lifts(plan: Plan, configuration: Configuration, never: Values, written: Settings) -> Iterator[Lift]:
    for name, forbidden_values in never.items():
        variable = variable_named(plan.procedure, name)
        if name in written or variable is None:
            continue
        good = tuple(value for value in variable.values if value not in forbidden_values)
        if good:
            moves = tuple(move.id for move in moves_of(plan).values() if move.sets.get(name) in good)
            left = (step for step in plan.steps.values() if step.id not in configuration.done)
            yield Lift(name, good, moves, tuple(step.id for step in left if step.sets.get(name) in good))
