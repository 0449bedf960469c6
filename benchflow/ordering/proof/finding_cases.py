"""The cases of findings that a proof has to look at: which findings are made, and which remedies call for work.

Every combination of all findings is far too many. Findings that decide operations which have nothing to do with each
other need not be combined: a case then has one combination of each. Two findings have to do with each other if they
decide operations that use the same group of states, if one operation needs a value of the other, redoes or restores it,
if one of them decides if the other is made at all, or if both bear on time windows.
:func:`combinations_agree` says after the analysis whether that was enough.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from math import prod

from msgspec import Struct

from benchflow.ordering.called_work import remedies_with_redo, whole_plan
from benchflow.ordering.proof.group_independence import follows_shared_order
from benchflow.ordering.proof.plan_analysis import PlanAnalysis
from benchflow.ordering.proof.value_findings import steps_with_value, value_uses
from benchflow.ordering.proof.variable_group import group_members
from benchflow.ordering.remedy_scope import steps_called, steps_named
from benchflow.procedure.deciding_findings import findings_possible, split_key
from benchflow.procedure.expand import resolve
from benchflow.procedure.identity import StepId, parts
from benchflow.procedure.model import Mark, Procedure
from benchflow.procedure.plan import Findings, Plan


class Decision(Struct, frozen=True):
    """Something that is decided during the work: a finding (by its key), or a call for steps that are done if needed.

    ``choices`` has the answers of each case, or the callers. ``decides`` are the steps whose presence depends on it,
    ``made_by`` the steps in which it is decided. The ``key`` of a call is the first of the steps.
    """

    key: str
    is_call: bool
    choices: tuple[tuple[str, ...], ...]
    decides: frozenset[str]
    made_by: frozenset[str]


class MixedRemedy(Struct, frozen=True):
    """A remedy of ``step`` that calls for work and takes back ``redone`` with one `redo`."""

    step: str
    called: tuple[str, ...]
    redone: str
    mark: Mark


class FindingCases:
    """The cases of one build. ``whole`` is its plan with every operation that can become part of it."""

    def __init__(self, procedure: Procedure, options: Mapping[str, str]) -> None:
        self.whole = whole_plan(procedure, options)
        self.decisions = tuple(_decisions(self.whole))
        self._together = _Partition(len(self.decisions))
        self._of_step: dict[str, list[int]] = {}
        for number, decision in enumerate(self.decisions):
            for name in decision.decides:
                self._of_step.setdefault(name, []).append(number)
        if self.decisions:
            self._join_what_interacts()

    @property
    def count(self) -> int:
        """The number of cases."""
        return max((prod(len(self.decisions[n].choices) for n in part) for part in self._together.parts()), default=1)

    def cases(self) -> Iterator[Findings]:
        """The findings of each case. The first case has the most operations."""
        parts = self._together.parts()
        sizes = [[len(self.decisions[n].choices) for n in part] for part in parts]
        for turn in range(self.count):
            chosen: dict[int, tuple[str, ...]] = {}
            for part, lengths in zip(parts, sizes, strict=True):
                rest = turn % prod(lengths)
                for number, length in zip(part, lengths, strict=True):
                    rest, at = divmod(rest, length)
                    chosen[number] = self.decisions[number].choices[at]
            answers = {d.key: chosen[n] for n, d in enumerate(self.decisions) if not d.is_call}
            answers |= self._of_all_readings(answers)
            calls = {name: chosen[n] for n, d in enumerate(self.decisions) if d.is_call for name in d.decides}
            called = {name: calls[name] for name in self.whole.steps if calls.get(name)}
            yield Findings(answers, called)

    def _of_all_readings(self, answers: Mapping[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
        """What is found in a value as a whole, where each of its readings decides something too."""
        found: dict[str, tuple[str, ...]] = {}
        for key in answers:
            ref = split_key(self.whole.procedure, key)
            axes = self.whole.value_table.axes(ref.name)
            if ref.reading is None and axes is not None and axes.readings:
                each = [answers.get(str(ref._replace(reading=reading))) for reading in axes.readings]
                if None not in each:
                    found[key] = tuple(dict.fromkeys(one for some in each for one in some or ()))
        return found

    def related(self) -> dict[str, set[str]]:
        """For each operation and each state (``state.rod``), the keys of the decisions on which it may depend."""
        found: dict[str, set[str]] = {}
        numbers = list(self.whole.steps)
        groups = [([numbers[at] for at in steps], variables) for variables, steps in group_members(self.whole)]
        groups += [([name], []) for name in self._of_step]
        for names, variables in groups:
            keys = {self.decisions[number].key for name in names for number in self._of_step.get(name, ())}
            owners = [
                *(self.whole.steps[name].operation.id for name in names),
                *(f"state.{each}" for each in variables),
            ]
            for owner in owners if keys else ():
                found.setdefault(owner, set()).update(keys)
        return found

    def combine(self, analyses: Sequence[PlanAnalysis]) -> bool:
        """Combine the findings whose groups of states may have to wait for each other. True if there are new ones."""
        before = len(self._together.parts())
        for analysis in analyses:
            for group in analysis.groups():  # groups that were explored together
                self._join_steps(analysis.order.steps[number] for number in group.steps)
        if len(self._together.parts()) == before and not combinations_agree(self.whole, analyses):
            waiting = {name for analysis in analyses for names in _waiting_groups(analysis) for name in names}
            self._join_steps(sorted(waiting))
        return len(self._together.parts()) < before

    def _join_steps(self, names: Iterable[str]) -> None:
        self._together.join(number for name in names for number in self._of_step.get(name, ()))

    def _join_what_interacts(self) -> None:
        plan = self.whole
        for number, decision in enumerate(self.decisions):
            for name in decision.made_by:
                self._together.join([number, *self._of_step.get(name, ())])
        numbers = list(plan.steps)
        groups = [[numbers[at] for at in steps] for _, steps in group_members(plan)]
        for names in groups:
            self._join_steps(names)
        group_of = {name: names for names in groups for name in names}
        for step in plan.steps.values():
            for use in value_uses(plan, step):
                sources = [source.id for source in steps_with_value(plan, use.ref)]
                self._join_steps([step.id, *sources])
            for remedy in remedies_with_redo(step.operation):
                redone = [ref.name for ref in remedy.redo if ref.name in plan.steps]
                self._join_steps([step.id, *redone, *(other for name in redone for other in group_of.get(name, ()))])
            if step.operation.restored_by is not None:
                self._join_steps([step.id, *resolve(plan, step.operation.restored_by.name, step)])
        if any(window.high is not None for step in plan.steps.values() for window in step.time):
            timed = [step for step in plan.steps.values() if step.takes or step.time]
            since = [window.operation for step in timed for window in step.time]
            self._join_steps([*(step.id for step in timed), *since])


def combinations_agree(whole: Plan, analyses: Sequence[PlanAnalysis]) -> bool:
    """True if the groups of states can be finished whatever the other findings are.

    In each case every group that is not free can follow one order of all steps. If there is one order that all these
    groups can follow in all cases, they can follow it in every other combination of the findings too.
    """
    if len(analyses) < 2:
        return True
    before: dict[str, set[str]] = {name: set(step.after) for name, step in whole.steps.items()}
    for analysis in analyses:
        if not analysis.separable or not all(each.proven.free for each in analysis.unexplored):
            return False
        for names in _waiting_groups(analysis):
            for first, second in pairwise(names):
                before.setdefault(second, set()).add(first)
        if not all(follows_shared_order(group, space) for group, space in analysis.pairs):
            return False
    return _is_acyclic(before)


def _waiting_groups(analysis: PlanAnalysis) -> Iterator[list[str]]:
    """The steps of each group that is not free, in the order that all groups of this case can follow."""
    order = analysis.order
    for group, space in analysis.pairs:
        if not space.free:
            yield [order.steps[number] for number in sorted(group.steps, key=lambda number: order.rank[number])]


def _is_acyclic(before: Mapping[str, set[str]]) -> bool:
    left = {name: set(earlier) & before.keys() for name, earlier in before.items()}
    while left:
        ready = [name for name, earlier in left.items() if not earlier]
        if not ready:
            return False
        for name in ready:
            del left[name]
        for earlier in left.values():
            earlier.difference_update(ready)
    return True


# --- the decisions ----------------------------------------------------------------------------------


def _decisions(plan: Plan) -> Iterator[Decision]:
    decides: dict[str, set[str]] = {}
    for step in plan.steps.values():
        for key in step.awaits:
            decides.setdefault(key, set()).add(step.id)
    for key, steps in decides.items():
        ref = split_key(plan.procedure, key)
        owners = plan.procedure.operations_of_finding(ref.name)
        made_by = frozenset(str(StepId(owner.id, ref.place)) for owner in owners)
        possible = [found for made in made_by for found in findings_possible(plan.steps[made].operation, ref)]
        yield Decision(key, False, _distinct(plan, key, steps, possible), frozenset(steps), made_by)
    mixed = {(each.step, name) for each in mixed_remedies(plan) for name in each.called}
    for names in _called_together(plan):
        # What is called for by several is done once for each; `remedy_findings` proves that it can be done again.
        callers = plan.findings.called[names[0]]
        proven = tuple((caller,) for caller in callers if not any((caller, name) in mixed for name in names))
        yield Decision(names[0], True, (*proven, ()), frozenset(names), frozenset(callers))


def _called_together(plan: Plan) -> list[list[str]]:
    """The steps that are done if needed. Those that the same remedies call for are together: all of them, or none.

    Where a remedy calls for the work at the place of the reading that was out, only work at one place is together.
    """
    remedies: dict[str, list[tuple[str, int, str]]] = {name: [] for name in plan.findings.called if name in plan.steps}
    for step in plan.steps.values():
        for number, remedy in enumerate(remedies_with_redo(step.operation)):
            for name in steps_called(plan, step, remedy):
                if name in remedies and name != step.id:
                    reading = parts(StepId.parse(name).place)[-1] if name in remedy.at_reading else ""
                    remedies[name].append((step.id, number, reading))
    together: dict[tuple[object, ...], list[str]] = {}
    for name, calls in remedies.items():
        together.setdefault((*calls, *plan.findings.called[name]), []).append(name)
    return list(together.values())


def mixed_remedies(plan: Plan) -> Iterator[MixedRemedy]:
    """The remedies that call for work while they take back work that sets a state. Their calls are in no case.

    What is taken back is done twice, which the cases do not show.
    """
    for step in plan.steps.values():
        for remedy in remedies_with_redo(step.operation):
            called = steps_called(plan, step, remedy)
            if not called:
                continue
            not_yet = {*called, *_with_later_ones(plan, step.id)}
            for name in steps_named(plan, step, remedy):
                redone = () if name in not_yet else _with_later_ones(plan, name) - not_yet
                if any(plan.steps[one].sets or plan.steps[one].undo_sets for one in redone):
                    yield MixedRemedy(step.id, called, name, remedy.redo[0].mark)
                    break


def _with_later_ones(plan: Plan, step_id: str) -> set[str]:
    """A step, and those that come after it."""
    found, more = set[str](), {step_id}
    while more:
        found |= more
        more = {step.id for step in plan.steps.values() if not more.isdisjoint(step.after)} - found
    return found


def _distinct(
    plan: Plan, key: str, steps: Iterable[str], possible: Iterable[tuple[str, ...]]
) -> tuple[tuple[str, ...], ...]:
    """One of those possible answers that lead to the same operations, those with the most operations first."""
    name = StepId.parse(key).operation
    named = {
        frozenset(answers)
        for step in steps
        for written, answers in plan.steps[step].operation.findings.items()
        if StepId.parse(written).operation == name
    }
    found: dict[frozenset[frozenset[str]], tuple[str, ...]] = {}
    for answers in possible:
        found.setdefault(frozenset(each for each in named if not each.isdisjoint(answers)), answers)
    return tuple(found[matched] for matched in sorted(found, key=len, reverse=True)) or ((),)


class _Partition:
    """Numbers from 0 in parts that are joined."""

    def __init__(self, count: int) -> None:
        self._root = list(range(count))

    def join(self, numbers: Iterable[int]) -> None:
        roots = {self._find(number) for number in numbers}
        for root in roots:
            self._root[root] = min(roots)

    def parts(self) -> list[list[int]]:
        found: dict[int, list[int]] = {}
        for number in range(len(self._root)):
            found.setdefault(self._find(number), []).append(number)
        return list(found.values())

    def _find(self, number: int) -> int:
        while self._root[number] != number:
            number = self._root[number]
        return number
