"""The proof of a procedure's order: every order, every start, every choice of options."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice

from benchflow.ordering.actions import DoOperation, MakeMove
from benchflow.ordering.interlock import moves_of
from benchflow.ordering.proof import finding_messages, static_checks
from benchflow.ordering.proof.breaches import breaking, find_breach
from benchflow.ordering.proof.explorer import ALL_REDUCTIONS, Explorer, Reductions, UnexploredGroup
from benchflow.ordering.proof.paper_fixes import PaperFixSearch, useful_moves
from benchflow.ordering.proof.plan_analysis import PlanAnalysis, analyse
from benchflow.ordering.proof.proof_findings import OrderFinding, Proof, SuggestedLine, finding
from benchflow.ordering.proof.variable_group import VariableGroup
from benchflow.ordering.proof.window_feasibility import WindowConflict, WindowsUndecided, order_is_possible, timing
from benchflow.ordering.proof.witness import Witness, show_dead_end
from benchflow.ordering.state_machine import bits
from benchflow.procedure.model import Mark, Procedure, Variable
from benchflow.procedure.plan import Plan

DEFAULT_BOUND = 2_000_000
"""Configurations of one group of variables; about 100 bytes each where they are held one by one."""
_PERHAPS_SHORTER = " (There may be a shorter order than the one shown.)"
_CONFIGURATIONS_A_CHOICE = 4_000
"""A bound of so many configurations allows for one more choice of options to be looked at."""


def prove(procedure: Procedure, *, bound: int = DEFAULT_BOUND, reductions: Reductions = ALL_REDUCTIONS) -> Proof:
    """Every finding of the table in the design, or what is missing of it (``not-explored``).

    The procedure must have been read without an error. ``bound`` limits time and memory.
    """
    return _Proving(procedure, bound, reductions).run()


class _Proving:
    def __init__(self, procedure: Procedure, bound: int, reductions: Reductions) -> None:
        self._procedure = procedure
        self._bound = bound
        self._explorer = Explorer(bound, reductions)
        self._findings: list[OrderFinding] = []
        self._mending: dict[int, tuple[SuggestedLine, ...]] = {}
        self._said: set[tuple[object, ...]] = set()
        self._missing = False

    def run(self) -> Proof:
        self._add(static_checks.forbidden_starts(self._procedure))
        plans = list(self._plans())
        analyses = [analyse(plan, self._explorer) for plan in plans]
        configurations = max(self._explorer.configurations, 1)
        for analysis in analyses:
            self._add(static_checks.circles(analysis.plan, analysis.paper))
            if analysis.no_start:
                self._missing = True
                continue
            self._add(self._unreachable(analysis))
            self._add(self._dead_ends(analysis))
            self._add(self._time_conflicts(analysis))
            self._say_what_is_missing(analysis)
        self._interlock_needed([analysis for analysis in analyses if not analysis.no_start])
        self._add(static_checks.redundant([(analysis.plan, analysis.paper) for analysis in analyses]))
        return Proof(tuple(self._findings), configurations, not self._missing, self._mending)

    # --- builds -----------------------------------------------------------------------------------

    def _plans(self) -> Iterator[Plan]:
        """One plan for every choice of options that makes a difference."""
        from benchflow.procedure.expand import expand, option_choices

        first = {option.name: option.choices[0] for option in self._procedure.options if option.choices}
        most = max(self._bound // _CONFIGURATIONS_A_CHOICE, 1)
        choices = option_choices(self._procedure, ordering_only=True)
        seen = set()
        for choice in islice(choices, most):
            plan = expand(self._procedure, {**first, **choice})
            build = tuple((name, step.after) for name, step in plan.steps.items()), tuple(moves_of(plan))
            if build not in seen:
                seen.add(build)
                yield plan
        if next(choices, None) is not None:
            message = (
                f"The options can be answered in more than {most} ways; only the first {most} were looked at."
                " A larger bound looks at more"
            )
            self._not_explored("options", self._procedure.options[0].mark, message)

    # --- findings ---------------------------------------------------------------------------------

    def _unreachable(self, analysis: PlanAnalysis) -> Iterator[OrderFinding]:
        plan = analysis.plan
        lost = frozenset(analysis.order.steps[number] for number in bits(analysis.never))
        by_author: dict[str, list[str]] = {}
        for name in plan.steps:
            if name in lost:
                by_author.setdefault(plan.steps[name].operation.id, []).append(name)
        start = _some_start(analysis)
        for author, names in by_author.items():
            whole = sum(step.operation.id == author for step in plan.steps.values()) == len(names)
            for together in [names] if whole else [[name] for name in names]:
                message = finding_messages.tell_unreachable(plan, together, lost, start)
                mark = plan.steps[together[0]].operation.mark
                where = author if whole else together[0]
                yield finding("unreachable-operation", where, mark, message, options=dict(plan.options))

    def _dead_ends(self, analysis: PlanAnalysis) -> Iterator[OrderFinding]:
        """One for each group that comes to one; where something is never done at all, every start is one."""
        plan = analysis.plan
        if analysis.never:
            lost = [analysis.order.steps[number] for number in bits(analysis.never)]
            # What is never done for a reason of its own, not for another's that comes before it.
            causes = [name for name in lost if not set(plan.steps[name].after) & set(lost)] or lost
            first = plan.steps[causes[0]].operation
            yield self._dead_end(plan, Witness(_some_start(analysis), ()), causes, (first.id, first.mark))
            return
        for part, space in analysis.pairs:
            if not any(True for _ in space.dead()):
                continue
            shown = show_dead_end(analysis, part, space)
            if isinstance(shown, Witness):
                yield self._dead_end(plan, shown, part.machine.steps, (_place_of(part), _mark_of(part)))
            elif shown is not None:
                message = "It could not be settled whether " + _group(part) + " can always be finished"
                self._not_explored(_place_of(part), _mark_of(part), message)
        for part in (outline.part for outline in analysis.outlines if not outline.proven.free):
            shown = show_dead_end(analysis, part, None)
            if isinstance(shown, Witness):
                yield self._dead_end(plan, shown, part.machine.steps, (_place_of(part), _mark_of(part)))

    def _dead_end(
        self, plan: Plan, shown: Witness, suspects: Sequence[str], at_start: tuple[str, Mark]
    ) -> OrderFinding:
        order = tuple(go.id for go in shown.order)
        where, mark = self._author_of(plan, shown) if shown.order else at_start
        message = finding_messages.tell_dead_end(plan, shown, suspects)
        if not shown.shortest:
            message += _PERHAPS_SHORTER
        return finding("dead-end", where, mark, message, order=order, start=shown.start, options=dict(plan.options))

    def _time_conflicts(self, analysis: PlanAnalysis) -> Iterator[OrderFinding]:
        plan = analysis.plan
        found = timing(plan, analysis.order, analysis.never)
        if isinstance(found, WindowConflict):
            name, window = found.windows[0]
            step = plan.steps[name].operation
            message = finding_messages.tell_conflict(plan, found)
            yield finding("time-conflict", step.id, window.mark, message, options=dict(plan.options))
            return
        errors = any(each.severity == "error" for each in self._findings)
        if isinstance(found, WindowsUndecided) or (
            found.order and not errors and not order_is_possible(plan, analysis.order, found, _some_start(analysis))
        ):
            message = "Whether all time windows can be kept was not settled: too many orders would have to be tried"
            self._not_explored("", Mark(), message)

    def _say_what_is_missing(self, analysis: PlanAnalysis) -> None:
        for outline in analysis.outlines:
            if outline.proven.free:
                continue
            message = (
                f"{_group(outline.part, start=True)} can stand and be done in too many ways for the bound of"
                f" {self._bound:,} configurations: {len(outline.part.steps)} operations touch them."
                f" {_what_was_proven(outline)} A larger bound looks at more"
            )
            self._not_explored(_place_of(outline.part), _mark_of(outline.part), message)
        if not analysis.joined:
            message = (
                "Each group of states was explored by itself, but the groups wait for each other, and together they"
                " are too wide: that the whole can always be finished is not proven. A larger bound looks at more"
            )
            self._not_explored("", Mark(), message)

    def _interlock_needed(self, analyses: list[PlanAnalysis]) -> None:
        for analysis in analyses:
            for part, space in breaking(analysis):
                rules = frozenset(part.rules)
                if ("interlock", rules) in self._said:
                    continue
                shown = find_breach(analysis, part, space, self._explorer)
                if isinstance(shown, Witness):
                    self._said.add(("interlock", rules))
                    self._tell_breach(analysis, analyses, rules, shown)
                elif shown is not None:
                    message = "It was not settled whether only the interlock stops what a rule forbids of "
                    self._not_explored(_place_of(part), _mark_of(part), message + _group(part))

    def _tell_breach(
        self, analysis: PlanAnalysis, analyses: list[PlanAnalysis], rules: frozenset[int], shown: Witness
    ) -> None:
        plan = analysis.plan
        last = shown.order[-1]
        told = finding_messages.tell_breach(plan, shown) + " On paper nothing stops it; only the interlock does. "
        lines: tuple[SuggestedLine, ...] = ()
        if isinstance(last, DoOperation) and analysis.never >> analysis.order.index[last.operation] & 1:
            told += "The operation can never be done as it is written: mend it, or the rule, first."
        elif isinstance(last, MakeMove) and last.move not in useful_moves(analysis):
            told += "The move can never be made as it is written: mend it, or the rule, first."
        elif not all(each.settled for each in analyses):
            told += "The procedure is too wide to work out which lines would make it safe on paper."
        else:
            mending = PaperFixSearch(analyses, rules, self._explorer).mend(analysis, shown)
            if mending is None:
                told += "No set of `after` and `needs` lines was found that makes it safe on paper."
            else:
                lines = mending.lines
                told += finding_messages.tell_mending(self._procedure, lines, smallest=mending.smallest)
        where, mark = self._author_of(plan, shown)
        if not shown.shortest:
            told += _PERHAPS_SHORTER
        self._mending[len(self._findings)] = lines
        self._findings.append(
            finding(
                "interlock-needed",
                where,
                mark,
                told,
                order=tuple(go.id for go in shown.order),
                start=shown.start,
                options=dict(plan.options),
            )
        )

    # --- small things -----------------------------------------------------------------------------

    def _author_of(self, plan: Plan, shown: Witness) -> tuple[str, Mark]:
        """The author's name of the last of an order, and where it is written."""
        last = shown.order[-1]
        name = plan.steps[last.operation].operation.id if isinstance(last, DoOperation) else last.move
        return name, finding_messages.mark_of(self._procedure, name)

    def _add(self, findings: Iterable[OrderFinding]) -> None:
        """Each once, whichever options it was met with first."""
        for each in findings:
            key = each.code, each.where, each.line, each.column
            if key not in self._said:
                self._said.add(key)
                self._findings.append(each)

    def _not_explored(self, where: str, mark: Mark, message: str) -> None:
        self._missing = True
        self._add([finding("not-explored", where, mark, message)])


def _some_start(analysis: PlanAnalysis) -> dict[str, str]:
    """A start of all variables that no rule forbids."""
    start = {v.name: v.start or v.values[0] for v in analysis.plan.procedure.state}
    for part in analysis.parts():
        if part.starts:
            known = part.machine.valuation(part.starts[0])
            start.update({name: value for name, value in known.items() if value is not None})
    return start


def _what_was_proven(outline: UnexploredGroup) -> str:
    if outline.proven.no_breach:
        return "It was proven that no order passes a forbidden configuration, but not that all can be finished."
    return "That all of it can be done and finished was not proven."


def _group(part: VariableGroup, *, start: bool = False) -> str:
    names = ", ".join(part.variables[:6]) + (" and others" if len(part.variables) > 6 else "")
    return f"{'The' if start else 'the'} states {names}"


def _place_of(part: VariableGroup) -> str:
    return f"state.{_first_asked(part).name}"


def _mark_of(part: VariableGroup) -> Mark:
    return _first_asked(part).mark


def _first_asked(part: VariableGroup) -> Variable:
    """What an author would look at first: a variable that is asked for, if there is one."""
    return next((v for v in part.machine.variables if v.start is None), part.machine.variables[0])
