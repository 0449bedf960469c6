"""The smallest set of `after` and `needs` lines that makes a procedure safe on paper.

Guided by witnesses: a set of lines must break every order known to pass a forbidden configuration. The smallest
sets that do are tried in turn, the plainest lines first; a set that lets another such order through adds that
order to the known ones. A set may not make anything worse: no new circle, no new dead end, no operation that is
never done and no move that is of no use any more.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from msgspec import Struct
from msgspec.structs import replace

from benchflow.ordering.actions import DoOperation
from benchflow.ordering.configuration import Configuration, Valuation
from benchflow.ordering.interlock import after_move, after_step
from benchflow.ordering.proof.breaches import breaking, find_breach
from benchflow.ordering.proof.explorer import Explorer
from benchflow.ordering.proof.plan_analysis import PlanAnalysis, analyse
from benchflow.ordering.proof.proof_findings import SuggestedLine
from benchflow.ordering.proof.witness import Undecided, Witness, show_dead_end
from benchflow.ordering.state_machine import bits
from benchflow.procedure.model import Procedure, Values, Variable
from benchflow.procedure.plan import Plan, Step

_MOST_SETS = 200_000
_MOST_LINES = 8
_MANY_VALUES = 4


class PaperFix(Struct, frozen=True):
    """``smallest`` says that no smaller set would do; without it that could not be settled."""

    lines: tuple[SuggestedLine, ...]
    smallest: bool


class _WitnessStep(Struct, frozen=True):
    """One step or move of a witness, and how things stood at its turn."""

    author: str
    step: Step | None
    done: frozenset[str]
    valuation: Valuation


class _KnownOrder(Struct, frozen=True):
    plan: Plan
    turns: tuple[_WitnessStep, ...]
    rule: int


class _GaveUp(Exception):
    """A way out of nested searches; never seen outside this module."""


class PaperFixSearch:
    """For one set of rules (those of one group of variables) over every build."""

    def __init__(self, analyses: Sequence[PlanAnalysis], rules: frozenset[int], explorer: Explorer) -> None:
        self._before = list(analyses)
        self._rules = rules
        self._explorer = explorer
        self._procedure = analyses[0].plan.procedure
        self._variables = {v.name: v for v in self._procedure.state}
        of_use = {name for before in analyses for name in useful_moves(before)}
        self._moves = {move.id: move for move in self._procedure.moves if move.id in of_use}
        self._pool: list[_KnownOrder] = []
        self._candidates: list[list[SuggestedLine]] = []
        self._tried: set[frozenset[SuggestedLine]] = set()
        self._sets = 0

    def mend(self, analysis: PlanAnalysis, witness: Witness) -> PaperFix | None:
        """``None`` when no set of lines was found."""
        self._learn(analysis.plan, witness)
        try:
            for size in range(1, _MOST_LINES + 1):
                found = self._of_size(size)
                if found is not None:
                    return PaperFix(found, smallest=True)
        except _GaveUp:
            pass
        plain = self._plainly()
        return None if plain is None else PaperFix(plain, smallest=False)

    # --- sets of lines ----------------------------------------------------------------------------

    def _of_size(self, size: int) -> tuple[SuggestedLine, ...] | None:
        while True:
            trial = next(self._sets_of(size), None)
            if trial is None:
                return None
            if self._holds(trial):
                return trial

    def _sets_of(self, size: int) -> Iterator[tuple[SuggestedLine, ...]]:
        """The untried sets that break every known order, the plainest first."""
        for chosen in self._breaking((), size):
            if frozenset(chosen) not in self._tried:
                yield chosen

    def _breaking(self, chosen: tuple[SuggestedLine, ...], size: int) -> Iterator[tuple[SuggestedLine, ...]]:
        self._sets += 1
        if self._sets > _MOST_SETS:
            raise _GaveUp
        for place, known in enumerate(self._pool):
            if not any(_breaks(line, known) for line in chosen):
                if len(chosen) < size:
                    for line in self._candidates[place]:
                        yield from self._breaking((*chosen, line), size)
                return
        yield chosen

    def _plainly(self) -> tuple[SuggestedLine, ...] | None:
        """The plainest line against each order that turns up, however many they are."""
        for _ in range(_MOST_LINES):
            lines: tuple[SuggestedLine, ...] = ()
            for place, known in enumerate(self._pool):
                if self._candidates[place] and not any(_breaks(line, known) for line in lines):
                    lines = (*lines, self._candidates[place][0])
            if frozenset(lines) in self._tried:
                return None
            try:
                if self._holds(lines):
                    return lines
            except _GaveUp:
                return None
        return None

    def _holds(self, lines: tuple[SuggestedLine, ...]) -> bool:
        """Whether the procedure with these lines is safe on paper and no worse than before."""
        if not self._explorer.may_try(sum(len(before.order.steps) for before in self._before)):
            raise _GaveUp
        self._tried.add(frozenset(lines))
        for before in self._before:
            plan = with_lines(before.plan, lines)
            after = analyse(plan, self._explorer)
            if not after.settled:
                raise _GaveUp
            if _is_worse(before, after):
                return False
            for part, space in breaking(after):
                if not self._rules & set(part.rules):
                    continue
                witness = find_breach(after, part, space, self._explorer, any_will_do=True)
                if isinstance(witness, Undecided):
                    raise _GaveUp
                if witness is not None:
                    self._learn(before.plan, witness)
                    return False
        return True

    # --- orders that must be broken ---------------------------------------------------------------

    def _learn(self, plan: Plan, witness: Witness) -> None:
        assert witness.rule is not None
        here = Configuration(frozenset(), dict(witness.start))
        turns = []
        for go in witness.order:
            if isinstance(go, DoOperation):
                step = plan.steps[go.operation]
                turns.append(_WitnessStep(step.operation.id, step, here.done, here.valuation))
                here = after_step(plan, here, go.operation)
            else:
                turns.append(_WitnessStep(go.move, None, here.done, here.valuation))
                here = after_move(plan, here, go.move)
        known = _KnownOrder(plan, tuple(turns), witness.rule)
        self._pool.append(known)
        lines = dict.fromkeys(self._lines_against(known))
        self._candidates.append([line for line in lines if not self._forbids_its_use(line)])

    def _lines_against(self, known: _KnownOrder) -> Iterator[SuggestedLine]:
        """Every line that breaks the order, the plainest first: what the rule itself asks of the last step."""
        never = self._procedure.interference[known.rule].never
        last = known.turns[-1]
        written = {*last.step.during, *last.step.sets} if last.step else set()
        for name, values in never.items():
            good = tuple(v for v in self._variables[name].values if v not in values)
            if name not in written and good:
                yield SuggestedLine(last.author, variable=name, values=good)
        for turn in (last, *reversed(known.turns[:-1])):
            for variable in self._variables.values():
                for values in _without(variable, turn.valuation.get(variable.name)):
                    yield SuggestedLine(turn.author, variable=variable.name, values=values)
            yield from self._orders_against(known.plan, turn)

    def _forbids_its_use(self, line: SuggestedLine) -> bool:
        """Whether the line would leave a move, of use until now, only where it changes nothing."""
        sets = self._moves[line.to].sets if line.to in self._moves else {}
        return line.variable in sets and line.values == (sets[line.variable],) and len(sets) == 1

    def _orders_against(self, plan: Plan, turn: _WitnessStep) -> Iterator[SuggestedLine]:
        if turn.step is None:
            return
        each = turn.step.operation.each
        for operation in self._procedure.operations:
            if operation.id == turn.author:
                continue
            names = [operation.id] if operation.each is None else [f"{operation.id}[*]"]
            if operation.each is not None and operation.each == each:
                names.insert(0, operation.id)
            for name in names:
                line = SuggestedLine(turn.author, after=name)
                if any(earlier not in turn.done for earlier in _named(plan, turn.step, name)):
                    yield line


def _without(variable: Variable, value: str | None) -> Iterator[tuple[str, ...]]:
    """The values that a `needs` could ask for that do not include this one, the most first."""
    others = [other for other in variable.values if other != value]
    smallest = 1 if len(variable.values) <= _MANY_VALUES else len(others)
    for count in range(len(others), max(smallest, 1) - 1, -1):
        yield from combinations(others, count)


def _breaks(line: SuggestedLine, known: _KnownOrder) -> bool:
    for turn in known.turns:
        if turn.author != line.to:
            continue
        if line.after:
            if turn.step and any(earlier not in turn.done for earlier in _named(known.plan, turn.step, line.after)):
                return True
        elif turn.valuation.get(line.variable) not in line.values:
            return True
    return False


def _is_worse(before: PlanAnalysis, after: PlanAnalysis) -> bool:
    lost = {before.order.steps[i] for i in bits(before.never)}
    if any(after.order.steps[i] not in lost for i in bits(after.never)):
        return True
    if any(name not in useful_moves(after) for _, space in before.pairs for name in space.useful_moves):
        return True
    return not _has_dead_end(before) and _has_dead_end(after)


def useful_moves(analysis: PlanAnalysis) -> set[str]:
    """The moves that change something somewhere, as far as that is known; where it is not, they may."""
    known = {name for _, space in analysis.pairs for name in space.useful_moves}
    return known | {name for outline in analysis.outlines for name in outline.part.machine.moves}


def _has_dead_end(analysis: PlanAnalysis) -> bool:
    if analysis.never:
        return True
    for part, space in analysis.pairs:
        if any(True for _ in space.dead()) and show_dead_end(analysis, part, space) is not None:
            return True
    return False


# --- adding lines -----------------------------------------------------------------------------------


def with_lines(plan: Plan, lines: Sequence[SuggestedLine]) -> Plan:
    """The plan as it would be with the lines in the author's file."""
    by_author: dict[str, list[SuggestedLine]] = {}
    for line in lines:
        by_author.setdefault(line.to, []).append(line)
    variables = {v.name: v for v in plan.procedure.state}
    moves = tuple(
        replace(move, needs=_needing(move.needs, by_author[move.id], variables)) if move.id in by_author else move
        for move in plan.procedure.moves
    )
    steps = {
        name: _with(plan, step, by_author[step.operation.id], variables) if step.operation.id in by_author else step
        for name, step in plan.steps.items()
    }
    procedure: Procedure = replace(plan.procedure, moves=moves)
    return Plan(procedure, plan.options, steps)


def _with(plan: Plan, step: Step, lines: Sequence[SuggestedLine], variables: Mapping[str, Variable]) -> Step:
    after = dict.fromkeys(step.after)
    for line in lines:
        if line.after:
            after.update(dict.fromkeys(_named(plan, step, line.after)))
    return replace(step, after=tuple(after), needs=_needing(step.needs, lines, variables))


def _needing(needs: Values, lines: Sequence[SuggestedLine], variables: Mapping[str, Variable]) -> Values:
    found = dict(needs)
    for line in lines:
        if line.variable:
            wanted = found.get(line.variable, variables[line.variable].values)
            found[line.variable] = tuple(value for value in wanted if value in line.values)
    return found


def _named(plan: Plan, step: Step, name: str) -> tuple[str, ...]:
    if name in plan.steps:
        return (name,)
    from benchflow.procedure.expand import resolve

    return resolve(plan, name, step.place, step.operation.each)
