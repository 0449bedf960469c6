"""The interlock: decides if a step or move is allowed now, and gives every reason if it is not.

A step (an operation of the plan) is allowed on three conditions. All steps in its ``after`` are done. Its ``needs`` are
met. No interference rule matches while it is in progress (with its ``during`` values) or when it is done (with its
``sets`` values). A move is allowed if its ``needs`` are met and no rule matches afterwards. An unknown value does not
meet any of the ``needs``, and it matches every rule that names its variable.
"""

from collections.abc import Iterator, Mapping
from typing import Literal

from msgspec import Struct

from benchflow.ordering.actions import DoOperation, RouteStep
from benchflow.ordering.configuration import Configuration, Valuation, after_setting, matches, unmet
from benchflow.ordering.wording import (
    all_of,
    in_a_sentence,
    move_title,
    one_of,
    quoted_step,
    required_state_text,
    state_text,
    step_title,
    variable_named,
    variable_title,
    variable_value_text,
)
from benchflow.procedure.model import Move, Values
from benchflow.procedure.plan import Plan

Phase = Literal["during", "done"]


class AfterMissing(Struct, frozen=True, tag="after-missing"):
    """A prerequisite is not done: ``operation`` must be done first."""

    operation: str


class StateNotMet(Struct, frozen=True, tag="state-not-met"):
    """The variable does not have one of the values ``wanted``. ``None`` means that its value is unknown."""

    variable: str
    value: str | None
    wanted: tuple[str, ...]


class Lift(Struct, frozen=True):
    """A way to remove an interference: bring ``variable`` to one of ``values``.

    ``moves`` and ``operations`` (not done yet) set such a value. They may themselves be blocked now. ``again`` are
    finished operations that set such a value and can be done again, if the value of the variable is not known.
    """

    variable: str
    values: tuple[str, ...]
    moves: tuple[str, ...] = ()
    operations: tuple[str, ...] = ()
    again: tuple[str, ...] = ()


class Interference(Struct, frozen=True, tag="interference"):
    """The step would break a rule. ``rule`` is an index into ``Procedure.interference``.

    ``together`` maps each variable of the rule to its value in ``phase``, ``None`` if that is not known. ``written``
    names the variables that the step itself sets.
    """

    rule: int
    phase: Phase
    together: Valuation
    written: tuple[str, ...]
    lifts: tuple[Lift, ...]


class AlreadyDone(Struct, frozen=True, tag="already-done"):
    """The operation is done already."""

    operation: str


class NotInThisBuild(Struct, frozen=True, tag="unknown-name"):
    """The procedure has no such operation or move, or not with the chosen options."""

    name: str


Blocked = AfterMissing | StateNotMet | Interference | AlreadyDone | NotInThisBuild


def code(reason: Blocked) -> str:
    """The refusal code of the reason."""
    tag = reason.__struct_config__.tag
    assert isinstance(tag, str)
    return tag


def step_reasons(plan: Plan, configuration: Configuration, step_id: str) -> tuple[Blocked, ...]:
    """Every reason why the step is not allowed now; empty if it is allowed."""
    step = plan.steps.get(step_id)
    if step is None:
        return (NotInThisBuild(step_id),)
    if step_id in configuration.done:
        return (AlreadyDone(step_id),)
    missing = (AfterMissing(name) for name in dict.fromkeys(step.after) if name not in configuration.done)
    return (
        *missing,
        *_unmet_states(configuration.valuation, step.needs),
        *interferences(plan, configuration, (("during", step.during), ("done", step.sets))),
    )


def move_reasons(plan: Plan, configuration: Configuration, move_id: str) -> tuple[Blocked, ...]:
    """Every reason why the move is not allowed now; empty if it is allowed."""
    move = moves_of(plan).get(move_id)
    if move is None:
        return (NotInThisBuild(move_id),)
    return (
        *_unmet_states(configuration.valuation, move.needs),
        *interferences(plan, configuration, move_phases(move)),
    )


def move_phases(move: Move) -> tuple[tuple[Phase, Mapping[str, str | None]], ...]:
    """The phases of a move with their settings. A move without `during` changes nothing before it is done."""
    done: tuple[Phase, Mapping[str, str | None]] = ("done", move.sets)
    return (("during", move.during), done) if move.during else (done,)


def moves_of(plan: Plan) -> dict[str, Move]:
    """The moves of this build, by id: those whose ``when`` holds for the chosen options."""
    return {
        move.id: move
        for move in plan.procedure.moves
        if all(plan.options.get(option) in wanted for option, wanted in move.when.items())
    }


def forbidden(plan: Plan, valuation: Valuation) -> tuple[int, ...]:
    """Indices into ``Procedure.interference`` of the rules that these values break."""
    return tuple(index for index, rule in enumerate(plan.procedure.interference) if matches(valuation, rule.never))


def while_in_progress(plan: Plan, configuration: Configuration, step_id: str) -> Valuation:
    """The valuation while the step is in progress."""
    return after_setting(configuration.valuation, plan.steps[step_id].during)


def after_step(plan: Plan, configuration: Configuration, step_id: str) -> Configuration:
    """The configuration after the step. It is not checked: see :func:`step_reasons`."""
    step = plan.steps[step_id]
    return Configuration(configuration.done | {step_id}, after_setting(configuration.valuation, step.sets))


def after_move(plan: Plan, configuration: Configuration, move_id: str) -> Configuration:
    """The configuration after the move. It is not checked: see :func:`move_reasons`."""
    move = plan.procedure.moves_by_id[move_id]
    return Configuration(configuration.done, after_setting(configuration.valuation, move.sets))


def action_reasons(plan: Plan, configuration: Configuration, action: RouteStep) -> tuple[Blocked, ...]:
    """Every reason why the step or move of a route is not allowed now; empty if it is."""
    if isinstance(action, DoOperation):
        return step_reasons(plan, configuration, action.operation)
    return move_reasons(plan, configuration, action.move)


def after_action(plan: Plan, configuration: Configuration, action: RouteStep) -> Configuration:
    """The configuration after the step or move of a route. It is not checked: see :func:`action_reasons`."""
    if isinstance(action, DoOperation):
        return after_step(plan, configuration, action.operation)
    return after_move(plan, configuration, action.move)


# --- messages ---------------------------------------------------------------------------------------


def reason_text(plan: Plan, reason: Blocked) -> str:
    """A message for the bench without a full stop: ``Pistons are at the deck; an open valve would reach them``."""
    procedure = plan.procedure
    match reason:
        case AfterMissing(operation):
            return f"Do {quoted_step(plan, operation)} first"
        case StateNotMet(variable, None, wanted):
            return f"{required_state_text(procedure, variable, wanted)}; the state is not known"
        case StateNotMet(variable, value, wanted):
            now = variable_value_text(procedure, variable, value)
            return f"{required_state_text(procedure, variable, wanted)}; now {now}"
        case Interference():
            return _interference_text(plan, reason)
        case AlreadyDone(operation):
            return f"“{step_title(plan, operation)}” is already done"
        case NotInThisBuild(name):
            return f"“{name}” is not part of this build"


def lift_text(plan: Plan, lift: Lift) -> str:
    """Return the text of a way to remove an interference: ``Allowed with pistons down (by “Turn the crank down”)``."""
    procedure = plan.procedure
    wanted = one_of(variable_value_text(procedure, lift.variable, value) for value in lift.values)
    titles = [move_title(procedure, name) for name in lift.moves]
    titles += [step_title(plan, name) for name in lift.operations]
    quoted = [f"“{title}”" for title in titles]
    quoted += [f"rework of “{step_title(plan, name)}”" for name in lift.again]
    how = f" (by {one_of(quoted)})" if quoted else ""
    return f"Allowed with {in_a_sentence(variable_title(procedure, lift.variable))} {wanted}{how}"


def _interference_text(plan: Plan, reason: Interference) -> str:
    procedure = plan.procedure
    because = procedure.interference[reason.rule].because
    current = [name for name in reason.together if name not in reason.written]
    # The author's `because` describes the values that the step sets, so the message names the current ones. A rule
    # that the step breaks by itself has no current values; then the step's own values are named.
    named = current or list(reason.together)
    clauses = [state_text(procedure, name, reason.together[name]) for name in named]
    clauses[1:] = [in_a_sentence(clause) for clause in clauses[1:]]
    sentence = all_of(clauses)
    if not current:
        phase = "While it is in progress" if reason.phase == "during" else "When it is done"
        sentence = f"{phase}, {in_a_sentence(sentence)}"
    if not because:
        others = all_of(
            f"{in_a_sentence(variable_title(procedure, name))} {variable_value_text(procedure, name, value)}"
            for name, value in reason.together.items()
            if name not in named
        )
        return f"{sentence}; never together with {others}" if others else f"{sentence}; a rule forbids this"
    return f"{sentence}. {because}" if because[:1].isupper() else f"{sentence}; {because}"


# --- the conditions ---------------------------------------------------------------------------------


def _unmet_states(valuation: Valuation, needs: Values) -> Iterator[StateNotMet]:
    for name, wanted in unmet(valuation, needs).items():
        yield StateNotMet(name, valuation.get(name), wanted)


def interferences(
    plan: Plan, configuration: Configuration, phases: tuple[tuple[Phase, Mapping[str, str | None]], ...]
) -> Iterator[Interference]:
    """The rules that match with the settings of each phase written over the configuration.

    Each rule is reported once, for the first phase in which it matches.
    """
    rules = plan.procedure.interference
    named: set[int] = set()
    for phase, written in phases:
        valuation = after_setting(configuration.valuation, written)
        for index, rule in enumerate(rules):
            if index in named or not matches(valuation, rule.never):
                continue
            named.add(index)
            yield Interference(
                rule=index,
                phase=phase,
                together={name: valuation.get(name) for name in rule.never},
                written=tuple(name for name in rule.never if name in written),
                lifts=tuple(_lifts(plan, configuration, rule.never, written)),
            )


def _lifts(
    plan: Plan, configuration: Configuration, never: Values, written: Mapping[str, str | None]
) -> Iterator[Lift]:
    for name, forbidden_values in never.items():
        variable = variable_named(plan.procedure, name)
        if name in written or variable is None:
            continue
        good = tuple(value for value in variable.values if value not in forbidden_values)
        if good:
            moves = tuple(move.id for move in moves_of(plan).values() if move.sets.get(name) in good)
            setting = [step for step in plan.steps.values() if step.sets.get(name) in good]
            left = tuple(step.id for step in setting if step.id not in configuration.done)
            is_lost = configuration.valuation.get(name) is None
            again = [step.id for step in setting if is_lost and step.id not in left and step.operation.undo is not None]
            yield Lift(name, good, moves, left, tuple(again))
