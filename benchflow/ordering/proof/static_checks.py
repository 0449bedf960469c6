"""Checks that need no exploration: forbidden starts, cycles in the order, redundant ``after`` lines."""

from collections.abc import Iterator, Sequence

from benchflow.base.plaintext import sentence
from benchflow.ordering.proof.partial_order import PartialOrder
from benchflow.ordering.proof.proof_findings import OrderFinding, finding
from benchflow.ordering.wording import all_of, in_a_sentence, quoted_step, state_text, step_title
from benchflow.procedure.expand import prerequisites, resolve
from benchflow.procedure.model import Mark, Operation, Procedure, Ref
from benchflow.procedure.plan import Plan, Step


def forbidden_starts(procedure: Procedure) -> Iterator[OrderFinding]:
    """One finding for each rule that is broken at a possible start. The finding contains that start."""
    variables = procedure.variables_by_name
    for index, rule in enumerate(procedure.interference):
        start: dict[str, str] = {v.name: v.start or v.values[0] for v in procedure.state}
        for name, values in rule.never.items():
            first = variables[name].start
            matching = [v for v in values if v == first or (first is None and v in variables[name].values)]
            if not matching:
                break
            start[name] = matching[0]
        else:
            together = [state_text(procedure, name, start[name]) for name in rule.never]
            together[1:] = [in_a_sentence(text) for text in together[1:]]
            state = in_a_sentence(all_of(together))
            message = (
                f"A rule forbids a possible start: {state}. {sentence(rule.because)} Orders from this start are not"
                " checked. Remove one of the values from the possible starts, or correct the rule"
            )
            yield finding("forbidden-start", f"interference[{index + 1}]", rule.mark, message, start=start)


def cycles(plan: Plan, order: PartialOrder) -> Iterator[OrderFinding]:
    """One finding for each set of steps that wait for each other. The finding names a shortest cycle."""
    for cycle in order.cycles:
        ids = [order.steps[number] for number in cycle]
        steps = [plan.steps[name] for name in ids]
        pairs = list(zip([*steps[1:], steps[0]], steps, strict=True))
        keys = [_key_of_places(plan, later, earlier) for later, earlier in pairs]
        clauses = [
            f"{quoted_step(plan, later.id)} comes after {quoted_step(plan, earlier.id)}{key and f' by `{key}`'}"
            for (later, earlier), key in zip(pairs, keys, strict=True)
        ]
        first = steps[0]
        mark = _after_mark(plan, first, steps[-1].id)
        if len(steps) == 1:
            message = f"“{step_title(plan, first.id)}” comes after itself, so it can never be done. Remove that line"
        else:
            message = f"{all_of(clauses)}. None of them can ever be done. {_way_out(keys)}"
        left_out = dict.fromkeys(_passed_through(plan, later, earlier.id) for later, earlier in pairs)
        named = all_of(f"`{name}`" for name in left_out if name)
        if named:
            message += f". The order passes through {named}, because that is not part of this build"
        yield finding("order-cycle", first.operation.id, mark, message, options=dict(plan.options))


def _way_out(keys: Sequence[str]) -> str:
    """What the author can do about a cycle. ``keys`` has "" for an order that a line of the operation states."""
    places = all_of(f"`{key}`" for key in dict.fromkeys(keys) if key)
    if not places:
        return "Remove one of these lines"
    return f"Remove one of the other lines, or correct {places}" if "" in keys else f"Correct {places}"


def _key_of_places(plan: Plan, later: Step, earlier: Step) -> str:
    """The key for the order of places that puts one step after another; "" if a line of the operation does."""
    if _line_naming(plan, later, earlier.id) is not None:
        return ""
    operation = later.operation
    if operation.in_order and earlier.operation.id == operation.id:
        return "in-order"
    section = next((one for one in plan.procedure.sections if one.id == operation.section), None)
    if section is None or section.each is None or earlier.operation.section != section.id:
        return ""
    if section.order and earlier.operation.id == operation.id:
        return "order"
    return "one-by-one" if section.one_by_one else ""


def redundant(plans: Sequence[tuple[Plan, PartialOrder]]) -> Iterator[OrderFinding]:
    """One finding for each redundant ``after``, which is one that other lines of its operation imply in every build."""
    if not plans:
        return
    procedure = plans[0][0].procedure
    builds = [_BuildOrder(plan, order) for plan, order in plans]
    for operation in procedure.operations:
        kept = list(operation.after)
        for ref in reversed(operation.after):
            others = [other for other in kept if other is not ref]
            if _is_redundant(builds, operation, ref, others):
                kept = others
                place = operation.after.index(ref) + 1
                message = (
                    f"`after: {ref.name}` is redundant, because other lines already put it before “{operation.title}”"
                )
                yield finding("redundant-after", f"{operation.id}.after[{place}]", ref.mark, message)


def absent_operations(plan: Plan) -> Iterator[OrderFinding]:
    """A finding for each `takes-apart` of an operation that is not part of this build: it is not done before."""
    for step in plan.steps.values():
        for number, ref in enumerate(step.operation.takes_apart, 1):
            if not resolve(plan, ref.name, step):
                message = (
                    f"“{step.title}” takes `{ref.name}` apart, but that is not part of the build, so it is not done "
                    f"before. Give both the same `when`, or leave `{ref.name}` out"
                )
                where = f"{step.operation.id}.takes-apart[{number}]"
                yield finding("operation-absent", where, ref.mark, message, options=dict(plan.options))


def first_of_later_sections(plan: Plan, order: PartialOrder) -> Iterator[OrderFinding]:
    """A note for each operation of a later section that can be done first of all: perhaps its `after` is missing."""
    first = plan.procedure.sections[0].id if plan.procedure.sections else ""
    seen: set[str] = set()
    for number, name in enumerate(order.steps):
        operation = plan.steps[name].operation
        if order.before[number] or operation.section == first or operation.if_needed or operation.id in seen:
            continue
        seen.add(operation.id)
        message = (
            f"“{operation.title}” is in a later section, but waits for nothing: it can be done first of all. If "
            f"something comes before it, write `after` for `{operation.id}`"
        )
        yield finding("waits-for-nothing", operation.id, operation.mark, message)


class _BuildOrder:
    """The order of one build, and the steps that its references name."""

    def __init__(self, plan: Plan, order: PartialOrder) -> None:
        self.plan = plan
        self.order = order
        self.steps: dict[str, list[Step]] = {}
        for step in plan.steps.values():
            self.steps.setdefault(step.operation.id, []).append(step)
        self._known: dict[tuple[str, str | None, str | None], int] = {}

    def steps_named(self, step: Step, ref: Ref) -> int:
        """The mask of the steps that the reference names."""
        key = ref.name, step.place, step.operation.each
        mask = self._known.get(key)
        if mask is None:
            mask = sum(1 << self.order.index[name] for name in resolved(self.plan, step, ref))
            self._known[key] = mask
        return mask


def resolved(plan: Plan, step: Step, ref: Ref) -> tuple[str, ...]:
    """The prerequisites of the step by one ``after`` in its plan, also through operations that are left out."""
    if ref.name in plan.steps:
        return (ref.name,)
    return prerequisites(plan, ref.name, step)


def _is_redundant(builds: Sequence[_BuildOrder], operation: Operation, ref: Ref, others: Sequence[Ref]) -> bool:
    """True if the other lines imply every step of the reference in every build, and some build has such a step."""
    any_named = False
    for build in builds:
        order = build.order
        for step in build.steps.get(operation.id, ()):
            number = order.index[step.id]
            wanted = build.steps_named(step, ref)
            if order.blocked >> number & 1:
                return False  # in a cycle every line implies every other
            implied = 0
            for window in operation.time:
                implied |= build.steps_named(step, window.operation)
            for other in others:
                implied |= build.steps_named(step, other)
            direct = implied
            while direct:
                low = direct & -direct
                implied |= order.before[low.bit_length() - 1]
                direct ^= low
            if wanted & ~implied:
                return False
            any_named = any_named or bool(wanted)
    return any_named


def _after_mark(plan: Plan, step: Step, earlier: str) -> Mark:
    ref = _line_naming(plan, step, earlier)
    return step.operation.mark if ref is None else ref.mark


def _line_naming(plan: Plan, step: Step, earlier: str) -> Ref | None:
    """The ``after`` or ``time`` line that puts ``step`` after ``earlier``."""
    operation = step.operation
    refs = [*operation.after, *(window.operation for window in operation.time), *operation.takes_apart]
    refs += [] if operation.again is None else [operation.again]
    return next((ref for ref in refs if earlier in resolved(plan, step, ref)), None)


def _passed_through(plan: Plan, later: Step, earlier: str) -> str:
    """The operation left out of the build that puts ``later`` after ``earlier``; empty if a line names ``earlier``."""
    ref = _line_naming(plan, later, earlier)
    if ref is None or earlier in resolve(plan, ref.name, later):
        return ""
    return ref.name
