"""Says in which case a finding holds: after which findings of the builder, and which calls of remedies."""

from collections.abc import Mapping

from msgspec import UNSET
from msgspec.structs import replace

from benchflow.ordering.proof.begun_steps import is_hidden
from benchflow.ordering.proof.proof_findings import OrderFinding
from benchflow.ordering.wording import all_of
from benchflow.procedure.identity import StepId
from benchflow.procedure.plan import Plan

FindingKey = tuple[object, ...]
"""What makes two findings of different builds the same one."""


class CaseTexts:
    """Counts in which builds each finding holds, and writes the case of those that do not hold in all."""

    def __init__(self) -> None:
        self._builds: dict[tuple[object, ...], int] = {}
        self._holds: dict[FindingKey, set[int]] = {}
        self._first: dict[int, tuple[FindingKey, Plan]] = {}

    def add_build(self, plan: Plan) -> None:
        """Count a build that is checked."""
        key = tuple(plan.options.items())
        self._builds[key] = self._builds.get(key, 0) + 1

    def holds(self, key: FindingKey, plan: Plan) -> None:
        """Count that a finding holds in a build."""
        self._holds.setdefault((*key, tuple(plan.options.items())), set()).add(id(plan))

    def first(self, number: int, key: FindingKey, plan: Plan) -> None:
        """Note that the finding with this number is about ``plan``."""
        self._first[number] = (key, plan)

    def written(self, number: int, found: OrderFinding, related: Mapping[str, set[str]]) -> OrderFinding:
        """The finding with its case. ``related`` has the decisions on which operations and states may depend."""
        found = _without_hidden_names(found)
        if number not in self._first:
            return found
        key, plan = self._first[number]
        options = tuple(plan.options.items())
        if len(self._holds.get((*key, options), ())) >= self._builds.get(options, 1):
            return found
        return _in_case(found, plan, related)


def _without_hidden_names(found: OrderFinding) -> OrderFinding:
    if found.order is not UNSET:
        found = replace(found, order=tuple(name for name in found.order if not is_hidden(name)))
    if found.start is not UNSET:
        found = replace(found, start={name: value for name, value in found.start.items() if not is_hidden(name)})
    return found


def _in_case(found: OrderFinding, plan: Plan, related: Mapping[str, set[str]]) -> OrderFinding:
    named = set() if found.order is UNSET else {StepId.parse(name).operation for name in found.order}
    named |= {name for name in related if found.where == name or found.where.startswith((f"{name}.", f"{name}["))}
    keys = set().union(*(related.get(name, ()) for name in named))
    answers = {key: got for key, got in plan.findings.answers.items() if key in keys and got}
    called = tuple(name for name in plan.findings.called if name in keys and name in plan.steps)
    if not answers and not called:
        return found
    clauses = [f"`{key}` is {' and '.join(got)}" for key, got in answers.items()]
    clauses += [f"a remedy calls for `{name}`" for name in called]
    message = f"{found.message} This is the case if {all_of(clauses)}."
    return replace(found, message=message, findings=answers or UNSET, called=called or UNSET)
