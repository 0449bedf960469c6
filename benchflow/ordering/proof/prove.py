"""Runs the proof and turns its results into findings."""

from collections.abc import Iterable, Iterator, Sequence

from benchflow.ordering.actions import DoOperation, MakeMove
from benchflow.ordering.proof import finding_messages, static_checks
from benchflow.ordering.proof.breaches import find_breach, groups_with_breaches
from benchflow.ordering.proof.builds import Builds
from benchflow.ordering.proof.case_texts import CaseTexts
from benchflow.ordering.proof.closed_windows import remedies_into_closed_windows, windows_without_way_back
from benchflow.ordering.proof.dead_ends import groups_with_dead_ends
from benchflow.ordering.proof.group_explorer import ALL_REDUCTIONS, Explorer, Reductions, UnexploredGroup
from benchflow.ordering.proof.lost_evidence import LosableVariable, losable_variables, lost_variable, with_losses
from benchflow.ordering.proof.order_completion import Witness
from benchflow.ordering.proof.paper_fixes import find_paper_fix, useful_moves
from benchflow.ordering.proof.plan_analysis import PlanAnalysis, analyse
from benchflow.ordering.proof.precedence import Precedence
from benchflow.ordering.proof.proof_findings import SEVERITIES, Code, OrderFinding, Proof, SuggestedLine, finding
from benchflow.ordering.proof.remedy_findings import unreachable_remedies, unrestored_settings
from benchflow.ordering.proof.vacuous_rules import vacuous_rules
from benchflow.ordering.proof.value_findings import absent_values
from benchflow.ordering.proof.variable_group import VariableGroup
from benchflow.ordering.proof.window_feasibility import (
    WindowConflict,
    WindowsUndecided,
    check_windows,
    order_is_possible,
)
from benchflow.ordering.proof.witness import show_dead_end
from benchflow.ordering.state_machine import bits
from benchflow.ordering.work_meter import Progress
from benchflow.procedure.model import Mark, Procedure, Variable
from benchflow.procedure.plan import Plan

DEFAULT_BOUND = 500_000
"""The most configurations to explore in total. One takes about 100 bytes if stored by itself."""
_PERHAPS_SHORTER = " There may be a shorter order."
_ABOUT_ORDERS: tuple[Code, ...] = ("dead-end", "unreachable-operation", "interlock-needed")
"""The findings that need an exploration of the groups of states."""
_ABOUT_BUILDS: tuple[Code, ...] = tuple(code for code in SEVERITIES if code not in ("forbidden-start", "not-explored"))
"""The findings that need the analysis of each build."""


def prove(
    procedure: Procedure,
    *,
    bound: int = DEFAULT_BOUND,
    reductions: Reductions = ALL_REDUCTIONS,
    progress: Progress | None = None,
) -> Proof:
    """Prove the order of a procedure over every order, every start and every choice of options.

    The procedure must have been read without errors. ``bound`` is the most configurations to explore; it limits time
    and memory. Anything not proven within the bound is reported as ``not-explored``. ``progress`` is called now and
    then.
    """
    return _ProofRun(procedure, bound, reductions, progress).run()


class _ProofRun:
    def __init__(self, procedure: Procedure, bound: int, reductions: Reductions, progress: Progress | None) -> None:
        self._procedure = procedure
        self._bound = bound
        self._progress = progress
        self._phase = "explore the states"
        self._explorer = Explorer(bound, reductions, self._tell)
        self._trials = self._explorer.for_trials()
        self._findings: list[OrderFinding] = []
        self._fixes: dict[int, tuple[SuggestedLine, ...]] = {}
        self._advice: dict[tuple[str, int, int], OrderFinding] = {}
        self._reported: set[tuple[object, ...]] = set()
        self._absent: set[tuple[str, str, bool]] = set()
        self._proven_remedies: set[tuple[object, ...]] = set()
        self._undecided: set[Code] = set()
        self._case: Plan | None = None  # the build that the findings are about
        self._cases = CaseTexts()

    def run(self) -> Proof:
        self._add(static_checks.forbidden_starts(self._procedure))
        builds = Builds(self._procedure, self._explorer, self._bound, self._builds_not_explored)
        analyses = list(builds.analyses())
        for analysis in analyses:
            self._cases.add_build(analysis.plan)
        configurations = max(self._explorer.configurations, 1)
        self._explorer.lend_rest_to_searches()
        for analysis in analyses:
            self._case, self._phase = analysis.plan, "look for dead ends"
            self._add(static_checks.cycles(analysis.plan, analysis.paper))
            self._add(static_checks.absent_operations(analysis.plan))
            if analysis.no_start:
                self._undecided.update(_ABOUT_BUILDS)
                continue
            self._add(self._unreachable(analysis))
            if not self._add(self._dead_ends(analysis)):
                self._add(self._dead_ends_after_a_loss(analysis))
            self._phase = "check time windows, values and remedies"
            self._add(self._time_conflicts(analysis))
            self._report_unexplored(analysis)
            self._add_about_values(analysis)
            notes = static_checks.first_of_later_sections(analysis.plan, analysis.order)
            for each in (*windows_without_way_back(analysis.plan, analysis.order), *notes):
                if each.severity == "note":
                    self._advice.setdefault((each.where, each.line, each.column), each)
                else:
                    self._add([each])
            self._add(remedies_into_closed_windows(analysis.plan, analysis.order))
        self._phase = "look for orders that break a rule on paper"
        self._interlock_needed([analysis for analysis in analyses if not analysis.no_start])
        if "vacuous-rule" not in self._undecided:
            self._case, self._phase = None, "look for rules that never block anything"
            self._add(vacuous_rules(self._procedure, [analysis.plan for analysis in analyses]))
        self._add(static_checks.redundant([(analysis.plan, analysis.paper) for analysis in analyses]))
        undecided = tuple(code for code in SEVERITIES if code in self._undecided)
        findings = tuple(
            self._cases.written(number, each, builds.related) for number, each in enumerate(self._findings)
        )
        advice = tuple(self._advice.values())
        return Proof(findings, configurations, not undecided, self._fixes, undecided, advice)

    def _tell(self) -> None:
        if self._progress is not None:
            self._progress(self._phase, self._explorer.configurations_so_far)

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
                message = finding_messages.unreachable_message(plan, together, lost, start)
                mark = plan.steps[together[0]].operation.mark
                where = author if whole else together[0]
                yield finding("unreachable-operation", where, mark, message, options=dict(plan.options))

    def _dead_ends(self, analysis: PlanAnalysis) -> Iterator[OrderFinding]:
        """One finding for each group with a dead end. If a step is never done at all, every start is a dead end."""
        plan = analysis.plan
        if analysis.never:
            lost = [analysis.order.steps[number] for number in bits(analysis.never)]
            # Leave out the steps that are never done only because an earlier step is never done.
            causes = [name for name in lost if not set(plan.steps[name].after) & set(lost)] or lost
            first = plan.steps[causes[0]].operation
            yield self._dead_end(plan, Witness(_some_start(analysis), ()), causes, (first.id, first.mark))
            return
        for group, space in groups_with_dead_ends(analysis):
            witness = show_dead_end(analysis, group, space, self._explorer.searches)
            if isinstance(witness, Witness):
                yield self._dead_end(plan, witness, group.machine.steps, (_path_of_group(group), _mark_of_group(group)))
            elif witness is not None:
                message = f"It is not proven that {_group_text(group)} can always be finished"
                self._not_explored(_path_of_group(group), _mark_of_group(group), message, ["dead-end"])
        for group in (
            unexplored_group.group for unexplored_group in analysis.unexplored if not unexplored_group.proven.free
        ):
            witness = show_dead_end(analysis, group, None, self._explorer.searches)
            if isinstance(witness, Witness):
                yield self._dead_end(plan, witness, group.machine.steps, (_path_of_group(group), _mark_of_group(group)))

    def _dead_ends_after_a_loss(self, analysis: PlanAnalysis) -> Iterator[OrderFinding]:
        """One finding for each group with a dead end after the proof of a variable was waived."""
        losable = losable_variables(analysis.plan)
        if not losable:
            return
        plan = with_losses(analysis.plan, losable)
        lost = analyse(plan, self._explorer)
        self._report_unexplored(lost)
        for group, space in groups_with_dead_ends(lost):
            witness = show_dead_end(lost, group, space, self._explorer.searches)
            if isinstance(witness, Witness):
                yield self._dead_end_after_a_loss(plan, losable, witness, group)
            elif witness is not None:
                message = f"It is not proven that {_group_text(group)} can be finished after a proof was waived"
                self._not_explored(_path_of_group(group), _mark_of_group(group), message, ["dead-end"])

    def _dead_end_after_a_loss(
        self, plan: Plan, losable: tuple[LosableVariable, ...], witness: Witness, group: VariableGroup
    ) -> OrderFinding:
        unknown = tuple(dict.fromkeys(filter(None, (lost_variable(action.id) for action in witness.order))))
        order = tuple(action.id for action in witness.order if lost_variable(action.id) is None)
        cause = next(each for each in losable if each.variable.name in unknown)
        message = finding_messages.dead_end_message(plan, witness, group.machine.steps)
        advice = "Add `undo` to each operation that sets it, or let a role find its state (`found`)"
        options = dict(plan.options)
        return finding(
            "dead-end", cause.where, cause.mark, f"{message} {advice}",
            order=order, start=witness.start, options=options, unknown=unknown,
        )  # fmt: skip

    def _dead_end(
        self, plan: Plan, witness: Witness, suspects: Sequence[str], at_start: tuple[str, Mark]
    ) -> OrderFinding:
        order = tuple(action.id for action in witness.order)
        where, mark = self._place_of_last_action(plan, witness) if witness.order else at_start
        message = finding_messages.dead_end_message(plan, witness, suspects)
        if not witness.shortest:
            message += _PERHAPS_SHORTER
        return finding("dead-end", where, mark, message, order=order, start=witness.start, options=dict(plan.options))

    def _time_conflicts(self, analysis: PlanAnalysis) -> Iterator[OrderFinding]:
        plan = analysis.plan
        work = self._explorer.searches
        found = check_windows(plan, analysis.order, analysis.never, work)
        if isinstance(found, WindowConflict):
            name, window = found.windows[0]
            step = plan.steps[name].operation
            message = finding_messages.conflict_message(plan, found)
            yield finding("time-conflict", step.id, window.mark, message, options=dict(plan.options))
            return
        errors = any(each.severity == "error" for each in self._findings)
        if isinstance(found, WindowsUndecided) or (
            found.order
            and not errors
            and not order_is_possible(plan, analysis.order, found, _some_start(analysis), work)
        ):
            message = "It is not proven that all time windows can be kept, because there are too many orders to try"
            self._not_explored("", Mark(), message, ["time-conflict"])

    def _add_about_values(self, analysis: PlanAnalysis) -> None:
        """Add what is wrong with the values, remedies and temporary settings in the order of this build."""
        precedence = Precedence(analysis, self._explorer.searches)
        values = list(absent_values(precedence, self._absent))
        for each in values:
            self._append(each)
        remedies = list(unreachable_remedies(precedence, self._proven_remedies))
        settings = list(unrestored_settings(precedence))
        if any(each.severity == "error" for each in self._findings):
            # The order has to be corrected first, and is then proven again.
            remedies, settings = (
                [each for each in found if each.code != "not-explored"] for found in (remedies, settings)
            )
        self._add(remedies)
        self._add(settings)
        about: tuple[tuple[Code, list[OrderFinding]], ...] = (
            ("value-absent", values), ("unreachable-remedy", remedies), ("never-restored", settings),
        )  # fmt: skip
        self._undecided.update(code for code, found in about if any(each.code == "not-explored" for each in found))

    def _report_unexplored(self, analysis: PlanAnalysis) -> None:
        unexplored = [each for each in analysis.unexplored if not each.proven.free]
        others = len(analysis.groups()) - len(unexplored)
        for each in unexplored:
            group = each.group
            text = f"{_group_text(group, start=True)}, used by {len(group.steps)} operations, have"
            proven = _what_was_proven(each, others)
            if group.too_many_starts:
                message = f"{text} too many start values to explore them. {proven} Fix the start of some of them"
            else:
                message = (
                    f"{text} too many configurations for the bound of {self._bound:,}. Explored:"
                    f" {each.configurations:,}. {proven} Check more with a larger --bound"
                )
            self._not_explored(_path_of_group(group), _mark_of_group(group), message, _unproven_codes(each))
        if not analysis.separable:
            message = (
                "It is not proven that the whole procedure can always be finished (`dead-end`). Groups of states wait"
                " for each other and are too large to check together. Check more with a larger --bound"
            )
            self._not_explored("", Mark(), message, ["dead-end", "unreachable-operation"])
        if analysis.undecided:
            names = [analysis.order.steps[number] for number in bits(analysis.undecided)]
            step = analysis.plan.steps[names[0]].operation
            message = (
                f"It is not proven that {_listed(names)} can be done (`unreachable-operation`), because there are too"
                " many orders to try. Check more with a larger --bound"
            )
            self._not_explored(step.id, step.mark, message, ["unreachable-operation"])

    def _interlock_needed(self, analyses: list[PlanAnalysis]) -> None:
        for analysis in analyses:
            for group, space in groups_with_breaches(analysis):
                rules = frozenset(group.rules)
                if ("interlock", rules) in self._reported:
                    continue
                witness = find_breach(analysis, group, space, self._explorer)
                if isinstance(witness, Witness):
                    self._reported.add(("interlock", rules))
                    self._report_breach(analysis, analyses, rules, witness)
                elif witness is not None:
                    message = f"It is not proven that the procedure is safe on paper for {_group_text(group)}"
                    self._not_explored(_path_of_group(group), _mark_of_group(group), message, ["interlock-needed"])

    def _report_breach(
        self, analysis: PlanAnalysis, analyses: list[PlanAnalysis], rules: frozenset[int], witness: Witness
    ) -> None:
        plan = analysis.plan
        last = witness.order[-1]
        message = (
            finding_messages.breach_message(plan, witness)
            + " Only the interlock prevents this; a printed copy does not. "
        )
        lines: tuple[SuggestedLine, ...] = ()
        if isinstance(last, DoOperation) and analysis.never >> analysis.order.index[last.operation] & 1:
            message += "The operation can never be done as written. Correct it or the rule first."
        elif isinstance(last, MakeMove) and last.move not in useful_moves(analysis):
            message += "The move can never be made as written. Correct it or the rule first."
        elif not all(each.conclusive for each in analyses):
            message += "The procedure is too large to find lines that make it safe on paper."
        else:
            fix = find_paper_fix(analyses, rules, self._trials, analysis, witness)
            if fix is None:
                message += "No `after` and `needs` lines were found that make it safe on paper."
            else:
                lines = fix.lines
                message += finding_messages.fix_message(self._procedure, lines, smallest=fix.smallest)
        where, mark = self._place_of_last_action(plan, witness)
        if not witness.shortest:
            message += _PERHAPS_SHORTER
        self._fixes[len(self._findings)] = lines
        found = finding(
            "interlock-needed",
            where,
            mark,
            message,
            order=tuple(action.id for action in witness.order),
            start=witness.start,
            options=dict(plan.options),
        )
        self._case = plan
        self._append(found)

    # --- helpers ----------------------------------------------------------------------------------

    def _place_of_last_action(self, plan: Plan, witness: Witness) -> tuple[str, Mark]:
        """The id of the last action of an order in the file, and its place there."""
        last = witness.order[-1]
        name = plan.steps[last.operation].operation.id if isinstance(last, DoOperation) else last.move
        return name, finding_messages.mark_of(self._procedure, name)

    def _add(self, findings: Iterable[OrderFinding]) -> int:
        """Add each finding once, with the first options that gave it. Returns the number of ``findings``."""
        listed = list(findings)
        for each in listed:
            if self._case is not None:
                self._cases.holds(_key_of(each), self._case)
            if _key_of(each) not in self._reported:
                self._reported.add(_key_of(each))
                self._append(each)
        return len(listed)

    def _append(self, found: OrderFinding) -> None:
        if self._case is not None:
            self._cases.holds(_key_of(found), self._case)
            self._cases.first(len(self._findings), _key_of(found), self._case)
        self._findings.append(found)

    def _builds_not_explored(self, message: str, *, whole_builds: bool, mark: Mark | None = None) -> None:
        options = self._procedure.options
        codes = _ABOUT_BUILDS if whole_builds else _ABOUT_ORDERS
        where = "options" if whole_builds and options and mark is None else ""
        if mark is None:
            mark = options[0].mark if options else Mark()
        self._not_explored(where, mark, message, codes)

    def _not_explored(self, where: str, mark: Mark, message: str, undecided: Sequence[Code]) -> None:
        """Report that it is not decided if the procedure has findings with the codes ``undecided``."""
        self._undecided.update(undecided)
        self._add([finding("not-explored", where, mark, message)])


def _key_of(found: OrderFinding) -> tuple[object, ...]:
    """What makes findings of different builds the same one."""
    return found.code, found.where, found.line, found.column


def _some_start(analysis: PlanAnalysis) -> dict[str, str]:
    """A start value for every variable, chosen so that no rule is broken where possible."""
    start = {v.name: v.start or v.values[0] for v in analysis.plan.procedure.state}
    for group in analysis.groups():
        if group.starts:
            known = group.machine.valuation(group.starts[0])
            start.update({name: value for name, value in known.items() if value is not None})
    return start


def _what_was_proven(unexplored: UnexploredGroup, others: int) -> str:
    """What is proven about a group that was not explored, and the number of ``others`` that were."""
    if unexplored.proven.no_breach:
        proven = "It is proven that no order breaks a rule, but not that everything can be finished."
    else:
        proven = "It is not proven that everything can be finished, or that no order breaks a rule."
    rest = {0: "", 1: " The other group of states is proven."}.get(
        others, f" The other {others} groups of states are proven."
    )
    return f"{proven} Not proven: {_codes(_unproven_codes(unexplored))}.{rest}"


def _unproven_codes(unexplored: UnexploredGroup) -> tuple[Code, ...]:
    """The codes of the findings that a group may have although it was not explored."""
    return _ABOUT_ORDERS[:2] if unexplored.proven.no_breach else _ABOUT_ORDERS


def _codes(codes: Sequence[Code]) -> str:
    return ", ".join(f"`{code}`" for code in codes)


def _group_text(group: VariableGroup, *, start: bool = False) -> str:
    return f"{'The' if start else 'the'} states {_listed(group.variables)}"


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names[:6]) + (" and others" if len(names) > 6 else "")


def _path_of_group(group: VariableGroup) -> str:
    return f"state.{_first_asked(group).name}"


def _mark_of_group(group: VariableGroup) -> Mark:
    return _first_asked(group).mark


def _first_asked(group: VariableGroup) -> Variable:
    """The variable whose line the finding names: the first one asked for at the start, otherwise the first one."""
    return next((v for v in group.machine.variables if v.start is None), group.machine.variables[0])
