"""The smallest set of ``after`` and ``needs`` lines that makes a procedure safe on paper.

A procedure is safe on paper if no order that `after` and `needs` allow breaks a rule. The search is guided by
counterexamples. A set of lines must exclude every known order that breaks a rule. The smallest such sets are tried one
by one, the simplest lines first. If a set allows another such order, that order is added to the known ones. A set must
not add a cycle, a dead end, an operation that is never done or a move that is no longer useful.

Lines that the author can add come first. A `needs` that is there already is changed only to the opposite of the rule;
other changes are tried if nothing else is enough.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from msgspec import Struct
from msgspec.structs import replace

from benchflow.ordering.actions import DoOperation
from benchflow.ordering.configuration import Configuration, Valuation
from benchflow.ordering.interlock import after_move, after_step
from benchflow.ordering.proof.begun_steps import is_hidden
from benchflow.ordering.proof.breaches import find_breach, groups_with_breaches
from benchflow.ordering.proof.dead_ends import has_dead_end
from benchflow.ordering.proof.group_explorer import Explorer
from benchflow.ordering.proof.order_completion import Witness
from benchflow.ordering.proof.plan_analysis import PlanAnalysis, analyse
from benchflow.ordering.proof.proof_findings import SuggestedLine
from benchflow.ordering.proof.witness import Undecided
from benchflow.ordering.state_machine import bits
from benchflow.ordering.work_meter import WorkMeter
from benchflow.procedure.expand import prerequisites, site_of_step
from benchflow.procedure.model import Procedure, Values, Variable
from benchflow.procedure.plan import Plan, Step

_WORK_PER_TRIAL = 200
"""Units of work for each step of the plans, to analyse them once more with other lines."""
_MOST_LINES = 8
_MANY_VALUES = 4


class PaperFix(Struct, frozen=True):
    """Lines that make the procedure safe on paper. ``smallest`` is true if fewer lines are certainly not enough."""

    lines: tuple[SuggestedLine, ...]
    smallest: bool


class _WitnessStep(Struct, frozen=True):
    """One step or move of a witness, and the configuration before it. ``author_id`` is its id in the author's file."""

    author_id: str
    step: Step | None
    done: frozenset[str]
    valuation: Valuation


class _KnownOrder(Struct, frozen=True):
    """A known order that breaks a rule; ``rule`` is its index."""

    plan: Plan
    steps_taken: tuple[_WitnessStep, ...]
    rule: int


class _LimitReachedError(Exception):
    """Ends nested searches at their limit. It is caught in this module."""


def find_paper_fix(
    analyses: Sequence[PlanAnalysis],
    rules: frozenset[int],
    explorer: Explorer,
    analysis: PlanAnalysis,
    witness: Witness,
) -> PaperFix | None:
    """Lines that exclude ``witness`` and every other breach of ``rules``; ``None`` if none were found."""
    for with_changes in (False, True):
        search = _PaperFixSearch(analyses, rules, explorer, with_changes=with_changes)
        found = search.find(analysis, witness)
        if found is not None:
            return found
    return None


class _PaperFixSearch:
    """Searches for lines that prevent every breach of a rule of one group, in every build.

    ``with_changes`` allows every change of a `needs` that the author wrote.
    """

    def __init__(
        self, analyses: Sequence[PlanAnalysis], rules: frozenset[int], explorer: Explorer, *, with_changes: bool
    ) -> None:
        self._with_changes = with_changes
        self._before = list(analyses)
        self._rules = rules
        self._explorer = explorer
        self._work_for_sets = explorer.work.part(explorer.work.left // 2)
        self._procedure = analyses[0].plan.procedure
        known = self._procedure.variables_by_name
        self._variables = {name: variable for name, variable in known.items() if not is_hidden(name)}
        useful = {name for before in analyses for name in useful_moves(before)}
        self._moves = {move.id: move for move in self._procedure.moves if move.id in useful}
        self._known_orders: list[_KnownOrder] = []
        self._candidates: list[list[SuggestedLine]] = []
        self._excluded: dict[SuggestedLine, int] = {}
        self._tried: set[frozenset[SuggestedLine]] = set()

    def find(self, analysis: PlanAnalysis, witness: Witness) -> PaperFix | None:
        """The lines that exclude ``witness`` and every other breach; ``None`` if none were found.

        The simplest line against each order is tried first, then smaller sets than that.
        """
        self._add_known_order(analysis.plan, witness)
        simplest = self._simplest()
        largest = _MOST_LINES if simplest is None else len(simplest) - 1
        try:
            for size in range(1, largest + 1):
                found = self._fix_of_size(size)
                if found is not None:
                    return PaperFix(found, smallest=True)
        except _LimitReachedError:
            return None if simplest is None else PaperFix(simplest, smallest=False)
        return None if simplest is None else PaperFix(simplest, smallest=True)

    # --- sets of lines ----------------------------------------------------------------------------

    def _fix_of_size(self, size: int) -> tuple[SuggestedLine, ...] | None:
        while True:
            trial = next(self._untried_sets(size), None)
            if trial is None:
                return None
            if self._is_safe(trial):
                return trial

    def _untried_sets(self, size: int) -> Iterator[tuple[SuggestedLine, ...]]:
        """The sets not tried yet that exclude every known order, simplest first."""
        for chosen in self._excluding_sets((), (1 << len(self._known_orders)) - 1, size):
            if frozenset(chosen) not in self._tried:
                yield chosen

    def _excluding_sets(
        self, chosen: tuple[SuggestedLine, ...], left: int, size: int
    ) -> Iterator[tuple[SuggestedLine, ...]]:
        """The sets that contain ``chosen`` and also exclude the known orders in the mask ``left``."""
        if not left:
            yield chosen
            return
        if len(chosen) == size:
            return
        candidates = self._candidates[(left & -left).bit_length() - 1]
        if not self._work_for_sets.spend(1 + len(candidates) // 2):
            raise _LimitReachedError
        is_last = len(chosen) + 1 == size
        for line in candidates:
            rest = left & ~self._excluded[line]
            if not (is_last and rest):
                yield from self._excluding_sets((*chosen, line), rest, size)

    def _simplest(self) -> tuple[SuggestedLine, ...] | None:
        """The simplest line against each known order, if these lines make the procedure safe. Fewer may be enough."""
        for _ in range(_MOST_LINES):
            lines: tuple[SuggestedLine, ...] = ()
            for place in range(len(self._known_orders)):
                if self._candidates[place] and not any(self._excluded[line] >> place & 1 for line in lines):
                    lines = (*lines, self._candidates[place][0])
            if frozenset(lines) in self._tried:
                return None
            try:
                if self._is_safe(lines):
                    return lines
            except _LimitReachedError:
                return None
        return None

    def _is_safe(self, lines: tuple[SuggestedLine, ...]) -> bool:
        """True if no allowed order breaks a rule once these lines are added, and the lines add no other problem."""
        steps = sum(len(before.order.steps) for before in self._before)
        if not self._explorer.work.spend(_WORK_PER_TRIAL * steps):
            raise _LimitReachedError
        self._tried.add(frozenset(lines))
        for before in self._before:
            plan = with_lines(before.plan, lines)
            after = analyse(plan, self._explorer)
            if not after.conclusive:
                raise _LimitReachedError
            if _is_worse(before, after, self._explorer.searches):
                return False
            for group, space in groups_with_breaches(after):
                if not self._rules & set(group.rules):
                    continue
                witness = find_breach(after, group, space, self._explorer, any_length=True)
                if isinstance(witness, Undecided):
                    raise _LimitReachedError
                if witness is not None:
                    self._add_known_order(before.plan, witness)
                    return False
        return True

    # --- orders to exclude ------------------------------------------------------------------------

    def _add_known_order(self, plan: Plan, witness: Witness) -> None:
        assert witness.rule is not None
        here = Configuration(frozenset(), dict(witness.start))
        steps_taken = []
        for action in witness.order:
            if isinstance(action, DoOperation):
                step = plan.steps[action.operation]
                steps_taken.append(_WitnessStep(step.operation.id, step, here.done, here.valuation))
                here = after_step(plan, here, action.operation)
            else:
                steps_taken.append(_WitnessStep(action.move, None, here.done, here.valuation))
                here = after_move(plan, here, action.move)
        known = _KnownOrder(plan, tuple(steps_taken), witness.rule)
        self._known_orders.append(known)
        lines = dict.fromkeys(self._lines_against(known))
        candidates = [line for line in lines if not self._makes_move_useless(line)]
        place = len(self._candidates)
        self._candidates.append(candidates)
        for line, excluded in self._excluded.items():
            self._excluded[line] = excluded | _excludes(line, known) << place
        for line in candidates:
            if line not in self._excluded:
                self._excluded[line] = sum(
                    _excludes(line, each) << number for number, each in enumerate(self._known_orders)
                )

    def _lines_against(self, known: _KnownOrder) -> Iterator[SuggestedLine]:
        """Every line that excludes the order, simplest first. The first line requires the opposite of the rule."""
        never = self._procedure.interference[known.rule].never
        last = known.steps_taken[-1]
        writer = last.step or self._procedure.moves_by_id[last.author_id]
        written = {*writer.during, *writer.sets}
        for name, values in never.items():
            present = self._needs_of(last).get(name, self._variables[name].values)
            good = tuple(v for v in present if v not in values)
            if name not in written and good:
                yield SuggestedLine(last.author_id, variable=_as_written(self._variables[name], last), values=good)
        for turn in (last, *reversed(known.steps_taken[:-1])):
            needs = self._needs_of(turn)
            for variable in self._variables.values():
                if variable.name in needs and not self._with_changes:
                    continue
                present = needs.get(variable.name, variable.values)
                for values in _value_sets_without(variable, turn.valuation.get(variable.name)):
                    kept = tuple(value for value in present if value in values)
                    if kept:
                        yield SuggestedLine(turn.author_id, variable=_as_written(variable, turn), values=kept)
            yield from self._after_lines_against(known.plan, turn)

    def _needs_of(self, turn: _WitnessStep) -> Values:
        """What the step or move needs already."""
        return self._procedure.moves_by_id[turn.author_id].needs if turn.step is None else turn.step.needs

    def _makes_move_useless(self, line: SuggestedLine) -> bool:
        """True if the line makes a useful move useless: the move could then only be made if it changes nothing."""
        sets = self._moves[line.to].sets if line.to in self._moves else {}
        return line.variable in sets and line.values == (sets[line.variable],) and len(sets) == 1

    def _after_lines_against(self, plan: Plan, turn: _WitnessStep) -> Iterator[SuggestedLine]:
        if turn.step is None:
            return
        each = turn.step.operation.each
        order = next(before.order for before in self._before if before.plan is plan)
        here = order.index[turn.step.id]
        for operation in self._procedure.operations:
            if operation.id == turn.author_id:
                continue
            names = [operation.id] if operation.each is None else [f"{operation.id}[*]"]
            if operation.each is not None and operation.each == each:
                names.insert(0, operation.id)
            for name in names:
                earlier = _named_steps(plan, turn.step, name)
                is_circle = any(order.before[order.index[step]] >> here & 1 for step in earlier)
                if not is_circle and any(step not in turn.done for step in earlier):
                    yield SuggestedLine(turn.author_id, after=name)


def _value_sets_without(variable: Variable, value: str | None) -> Iterator[tuple[str, ...]]:
    """The sets of accepted values that a ``needs`` could name, largest first. None of them contains ``value``."""
    others = [other for other in variable.values if other != value]
    smallest = 1 if len(variable.values) <= _MANY_VALUES else len(others)
    for count in range(len(others), max(smallest, 1) - 1, -1):
        yield from combinations(others, count)


def _excludes(line: SuggestedLine, known: _KnownOrder) -> bool:
    for turn in known.steps_taken:
        if turn.author_id != line.to:
            continue
        if line.after:
            if turn.step and any(
                earlier not in turn.done for earlier in _named_steps(known.plan, turn.step, line.after)
            ):
                return True
        elif turn.valuation.get(line.variable) not in line.values:
            return True
    return False


def _is_worse(before: PlanAnalysis, after: PlanAnalysis, work: WorkMeter) -> bool:
    lost = {before.order.steps[i] for i in bits(before.never)}
    if any(after.order.steps[i] not in lost for i in bits(after.never)):
        return True
    if any(name not in useful_moves(after) for _, space in before.pairs for name in space.useful_moves):
        return True
    return not has_dead_end(before, work) and has_dead_end(after, work)


def useful_moves(analysis: PlanAnalysis) -> set[str]:
    """The moves that change the state in some configuration. All moves of unexplored groups are included."""
    known = {name for _, space in analysis.pairs for name in space.useful_moves}
    return known | {name for unexplored_group in analysis.unexplored for name in unexplored_group.group.machine.moves}


# --- adding lines -----------------------------------------------------------------------------------


def with_lines(plan: Plan, lines: Sequence[SuggestedLine]) -> Plan:
    """The plan as if the lines were in the author's file."""
    by_author: dict[str, list[SuggestedLine]] = {}
    for line in lines:
        by_author.setdefault(line.to, []).append(line)
    variables = plan.procedure.variables_by_name
    moves = tuple(
        replace(move, needs=_needs_with_lines(move.needs, by_author[move.id], variables, {}))
        if move.id in by_author
        else move
        for move in plan.procedure.moves
    )
    steps = {
        name: _step_with_lines(plan, step, by_author[step.operation.id], variables)
        if step.operation.id in by_author
        else step
        for name, step in plan.steps.items()
    }
    procedure: Procedure = replace(plan.procedure, moves=moves)
    return replace(plan, procedure=procedure, steps=steps)


def _step_with_lines(plan: Plan, step: Step, lines: Sequence[SuggestedLine], variables: Mapping[str, Variable]) -> Step:
    after = dict.fromkeys(step.after)
    for line in lines:
        if line.after:
            after.update(dict.fromkeys(_named_steps(plan, step, line.after)))
    here = site_of_step(step).places
    return replace(step, after=tuple(after), needs=_needs_with_lines(step.needs, lines, variables, here))


def _as_written(variable: Variable, turn: _WitnessStep) -> str:
    """The name of a variable in a line of an operation: the plain one for the variable of the same place."""
    here = {} if turn.step is None else site_of_step(turn.step).places
    same = bool(variable.family) and here.get(variable.each or "") == variable.place
    return variable.family if same else variable.name


def _needs_with_lines(
    needs: Values, lines: Sequence[SuggestedLine], variables: Mapping[str, Variable], here: Mapping[str, str]
) -> Values:
    """The needs with the lines. ``here`` is the place of the step for each set that repeats it."""
    found = dict(needs)
    for line in lines:
        for variable in variables.values() if line.variable else ():
            same = variable.family == line.variable and here.get(variable.each or "") == variable.place
            if line.variable == variable.name or same:
                wanted = found.get(variable.name, variable.values)
                found[variable.name] = tuple(value for value in wanted if value in line.values)
    return found


def _named_steps(plan: Plan, step: Step, name: str) -> tuple[str, ...]:
    if name in plan.steps:
        return (name,)
    return prerequisites(plan, name, step)
