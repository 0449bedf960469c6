"""The builds that a proof looks at: each choice of options that changes the order, with each case of findings."""

from collections.abc import Iterator
from typing import Protocol

from benchflow.ordering.interlock import moves_of
from benchflow.ordering.proof.begun_steps import with_begun_steps
from benchflow.ordering.proof.finding_cases import FindingCases, mixed_remedies
from benchflow.ordering.proof.group_explorer import Explorer
from benchflow.ordering.proof.plan_analysis import PlanAnalysis, analyse
from benchflow.ordering.wording import all_of, quoted_step
from benchflow.procedure.expand import expand, option_choices
from benchflow.procedure.model import Mark, Procedure
from benchflow.procedure.plan import NOTHING_FOUND, Findings, Plan, Step
from benchflow.procedure.variants import terms_of_order
from benchflow.procedure.waits_as_needs import with_waits_as_needs

_CONFIGURATIONS_PER_BUILD = 1_000
"""The number of builds to check is the bound divided by this number."""
_WORK_PER_STEP = 20


class NotExplored(Protocol):
    """Reports builds that are not checked, or, without ``whole_builds``, orders that are not."""

    def __call__(self, message: str, *, whole_builds: bool, mark: Mark | None = None) -> None: ...


class Builds:
    """Makes the plan of each build and analyses it. ``report`` is called for what is not checked."""

    def __init__(self, procedure: Procedure, explorer: Explorer, bound: int, report: NotExplored) -> None:
        self._procedure, self._explorer, self._bound, self._report = procedure, explorer, bound, report
        self._most = max(bound // _CONFIGURATIONS_PER_BUILD, 1)
        self._seen: set[object] = set()
        self._checked = 0
        self.related: dict[str, set[str]] = {}
        """For each operation and each state (``state.rod``), the keys of the decisions on which it may depend."""
        self._decides = any(operation.findings or operation.if_needed for operation in procedure.operations)

    def analyses(self) -> Iterator[PlanAnalysis]:
        """The analysis of each build that differs from the ones before."""
        first = {option.name: option.choices[0] for option in self._procedure.options if option.choices}
        for choice in option_choices(self._procedure, ordering_only=True):
            found = self._analyses_of({**first, **choice})
            if found is None:
                self._report_builds_left()
                return
            yield from found

    def _analyses_of(self, options: dict[str, str]) -> list[PlanAnalysis] | None:
        """The analyses of the builds with these options; ``None`` if there are too many builds."""
        if self._checked >= self._most:
            return None
        if not self._decides:
            return self._analysed(options, [NOTHING_FOUND])
        cases = FindingCases(self._procedure, options)
        self._report_mixed_remedies(cases.whole)
        for name, keys in cases.related().items():
            self.related.setdefault(name, set()).update(keys)
        seen, checked = set(self._seen), self._checked
        while True:
            if checked + cases.count > self._most:
                message = (
                    f"The findings of this procedure lead to {cases.count:,} ways to build, more than are checked."
                    " Nothing is proven for the others. Check more with a larger --bound"
                )
                self._report(message, whole_builds=True)
                return self._analysed(
                    options, [case for case, _ in zip(cases.cases(), range(self._most), strict=False)]
                )
            found = self._analysed(options, list(cases.cases()))
            if found is None or not cases.combine(found):
                return found
            self._seen, self._checked = set(seen), checked

    def _analysed(self, options: dict[str, str], cases: list[Findings]) -> list[PlanAnalysis] | None:
        found = []
        for case in cases:
            plan = with_begun_steps(with_waits_as_needs(expand(self._procedure, options, case)))
            if not self._is_new(plan):
                continue
            steps = len(plan.steps)
            if not self._explorer.builds.spend(steps * (steps + _WORK_PER_STEP)) and self._checked:
                return None
            if steps >= self._bound:  # one order alone has more configurations than that
                message = (
                    f"The bound of {self._bound:,} is too small for the {steps} operations of this procedure."
                    " Check more with a larger --bound"
                )
                self._report(message, whole_builds=False)
            self._checked += 1
            found.append(analyse(plan, self._explorer))
        return found

    def _report_mixed_remedies(self, whole: Plan) -> None:
        for each in mixed_remedies(whole):
            called = all_of([quoted_step(whole, name) for name in each.called])
            original = whole.steps[each.redone].operation.id
            message = (
                f"It is not proven that the work can be finished after a remedy of {quoted_step(whole, each.step)} that"
                f" calls for {called}, because the remedy also undoes {quoted_step(whole, each.redone)}. Let it call"
                f" for a second operation instead: `{{again: {original}, if-needed: true}}`"
            )
            self._report(message, whole_builds=True, mark=each.mark)

    def _is_new(self, plan: Plan) -> bool:
        build = (
            tuple((name, step.after, self._terms_of(step)) for name, step in plan.steps.items()),
            tuple(moves_of(plan)),
        )
        if build in self._seen:
            return False
        self._seen.add(build)
        return True

    def _terms_of(self, step: Step) -> str:
        """What changes the order or the values of a step in some builds; "" for an operation without `by`."""
        varies = self._procedure.operations_by_id[step.operation.id].variants
        return repr(terms_of_order(step.operation)) if varies else ""

    def _report_builds_left(self) -> None:
        message = (
            f"The options allow more than {self._checked} ways to build, but only the first {self._checked} were"
            " checked. Nothing is proven for the others. Check more with a larger --bound"
        )
        self._report(message, whole_builds=True)
