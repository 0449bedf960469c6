"""Makes the plan of one build from a procedure, the answers to its options, and what was found so far.

A procedure that was read without an error can be expanded with any answers. If an option has no answer, everything with
a `when` on it is left out. An operation that depends on a finding is in the plan until the finding says otherwise; it
comes after the operation of the finding, so it cannot be started before. One that is done if needed is in the plan
once a remedy called for it.
"""

from collections.abc import Iterator, Mapping
from itertools import product

from benchflow.procedure.added_order import Located, with_called_steps, with_order_of_places
from benchflow.procedure.identity import StepId, ValueRef, fits, is_several, parts
from benchflow.procedure.index_meaning import Site, places_named, site_of
from benchflow.procedure.model import Operation, Procedure, Ref, Values
from benchflow.procedure.placed_operations import PlacedOperations
from benchflow.procedure.plan import NOTHING_FOUND, Findings, Plan, Step, TimeWindow
from benchflow.procedure.settings_by_place import settings_at
from benchflow.procedure.variants import options_that_change_order, variant_for
from benchflow.quantity import seconds

_CLOCK_STEP = 0.001
"""The step of the log's clock in seconds. An end that is not included is moved by it."""


def expand(procedure: Procedure, options: Mapping[str, str], findings: Findings = NOTHING_FOUND) -> Plan:
    """The plan of the build; ``options`` maps names of options to choices."""
    build = _Build(procedure, options, findings)
    steps = {step.id: step for operation in procedure.operations for step in build.steps(operation)}
    steps = with_called_steps(with_order_of_places(procedure, steps, build.passed_through), findings)
    return Plan(procedure, dict(options), steps, findings, build.answers_that_decide(), build.numbers())


def with_findings(plan: Plan, findings: Findings) -> Plan:
    """The plan of the same build after other findings; the same object if they are the same."""
    return plan if findings == plan.findings else expand(plan.procedure, plan.options, findings)


def holds(when: Values, options: Mapping[str, str]) -> bool:
    """True if the answers match ``when``."""
    return all(options.get(name) in choices for name, choices in when.items())


def option_choices(procedure: Procedure, *, ordering_only: bool = False) -> Iterator[dict[str, str]]:
    """Every combination of answers to the options, in the author's order; ``{}`` if there are no options.

    ``ordering_only`` leaves out the options that change neither the operations and moves nor what they need, set and
    calculate with.
    """
    asked = {name for operation in procedure.operations for name in operation.when}
    asked |= options_that_change_order(procedure)
    asked |= {name for move in procedure.moves for name in move.when}
    options = [option for option in procedure.options if not ordering_only or option.name in asked]
    for answers in product(*(option.choices for option in options)):
        yield {option.name: answer for option, answer in zip(options, answers, strict=True)}


def operation_as_written(plan: Plan, step: Step) -> Operation:
    """The operation of a step as the author wrote it, in the variant for this build and place."""
    operation = plan.procedure.operations_by_id[step.operation.id]
    return variant_for(operation, {**plan.options, **site_of(operation, step.place).places})


def resolve(plan: Plan, ref: str, step: Step | None = None) -> tuple[str, ...]:
    """The ids of the steps of a reference: an operation's id, ``id[*]``, ``id[2]`` or a section's id.

    ``step`` contains the reference: an id without a place, repeated over the same set of places, means the same place.
    The result is empty if the operation is not part of this build.
    """
    return _build_of(plan).step_ids(ref, site_of_step(step))


def prerequisites(plan: Plan, ref: str, step: Step | None = None) -> tuple[str, ...]:
    """The ids of the steps that come before ``step`` with ``after: [ref]``.

    The order passes through an operation that is not part of this build: what comes after it comes after what that
    operation comes after.
    """
    return _build_of(plan).prerequisites(ref, site_of_step(step))


def everything_possible(procedure: Procedure, options: Mapping[str, str]) -> Plan:
    """The plan with every operation that can be part of the build: for all findings, with `if-needed` ones."""
    called: dict[str, tuple[str, ...]] = {
        str(StepId(operation.id, place)): ()
        for operation in procedure.operations
        if operation.if_needed
        for place in ((None,) if operation.each is None else procedure.places.get(operation.each, ()))
    }
    return expand(procedure, options, Findings({}, called))


def site_of_step(step: Step | None) -> Site:
    """The place of a step for the references in it."""
    return Site() if step is None else site_of(step.operation, step.place)


def _build_of(plan: Plan) -> "_Build":
    return _Build(plan.procedure, plan.options, plan.findings)


class _Build:
    def __init__(self, procedure: Procedure, options: Mapping[str, str], findings: Findings) -> None:
        self._procedure, self._places, self._options, self._findings = procedure, procedure.places, options, findings
        self._by_id = procedure.operations_by_id
        self._sections = {section.id: section.operations for section in procedure.sections}
        self._placed = PlacedOperations(procedure, options)
        self._present: dict[tuple[str, str | None], bool] = {}

    # --- which steps there are ----------------------------------------------------------------------

    def steps(self, operation: Operation) -> Iterator[Step]:
        for place in self._places_of(operation):
            if self.is_present(operation, place):
                yield self._step(operation, place)

    def numbers(self) -> dict[str, int]:
        """The number of each step that may become part of the build; empty if nothing is decided during the work."""
        if not any(operation.findings or operation.if_needed for operation in self._procedure.operations):
            return {}
        possible = (operation for operation in self._procedure.operations if holds(operation.when, self._options))
        ids = (str(StepId(one.id, place)) for one in possible for place in self._places_of(one))
        return {name: number for number, name in enumerate(ids, 1)}

    def _places_of(self, operation: Operation) -> tuple[str | None, ...]:
        return (None,) if operation.each is None else self._places.get(operation.each, ())

    def is_present(self, operation: Operation, place: str | None) -> bool:
        """True if the operation is part of this build at this place, as far as that is known."""
        key = operation.id, place
        found = self._present.get(key)
        if found is None:
            self._present[key] = False  # a finding that depends on itself, which is reported, has no answer
            self._present[key] = found = self._is_wanted(operation, place)
        return found

    def _is_wanted(self, operation: Operation, place: str | None) -> bool:
        if not holds(operation.when, self._options):
            return False
        if operation.if_needed and not self._is_called(operation, place):
            return False
        site = site_of(operation, place)
        return all(self._may_match(name, answers, site) for name, answers in operation.findings.items())

    def _is_called(self, operation: Operation, place: str | None) -> bool:
        """True if a remedy called for the operation. A caller that is not part of the build cannot have called."""
        callers = self._findings.called.get(str(StepId(operation.id, place)))
        if not callers:
            return callers is not None
        located = (StepId.parse(name) for name in callers)
        return any(self.is_present(self._by_id[each.operation], each.place) for each in located)

    def _may_match(self, name: str, answers: tuple[str, ...], site: Site) -> bool:
        """True if a finding is one of ``answers``, or is not known yet."""
        for key, operation, place in self._finding_keys(name, site):
            if not self.is_present(operation, place):
                continue
            found = self._findings.answers.get(key)
            if found is None or not set(answers).isdisjoint(found):  # None: not known yet
                return True
        return False

    def _finding_keys(self, name: str, site: Site) -> Iterator[tuple[str, Operation, str | None]]:
        """The findings that a name in a `when` means: each with its key, and the operation and place it is made at."""
        plain, index = StepId.parse(name)
        for operation in self._procedure.operations_of_finding(plain):
            reading = None if index is not None else self._own_reading(operation, plain, site)
            for place in self._at_places(operation, parts(index), site):
                yield str(ValueRef(plain, place, reading)), operation, place

    def answers_that_decide(self) -> dict[str, frozenset[str]]:
        """For each finding, by its key, the answers that a `when` names of what can be part of the build."""
        found: dict[str, frozenset[str]] = {}
        for operation in self._procedure.operations:
            if not operation.findings or not holds(operation.when, self._options):
                continue
            for place in self._places_of(operation):
                for name, answers in operation.findings.items():
                    for key, _, _ in self._finding_keys(name, site_of(operation, place)):
                        found[key] = found.get(key, frozenset()) | frozenset(answers)
        return found

    def _own_reading(self, operation: Operation, name: str, site: Site) -> str | None:
        """The reading that a plain name means where the readings are named after the set that repeats the place."""
        readings_set = self._placed.readings_set(name)
        return None if readings_set in parts(operation.each) else site.places.get(readings_set or "")

    # --- references ---------------------------------------------------------------------------------

    def step_ids(self, ref: str, site: Site) -> tuple[str, ...]:
        return tuple(str(StepId(op.id, at)) for op, at in self._named(ref, site) if self.is_present(op, at))

    def _redone_ids(self, ref: str, site: Site) -> tuple[str, ...]:
        """Like :meth:`step_ids`, for the `redo` of a remedy, which may also name what is done only if needed."""
        return tuple(
            str(StepId(op.id, at))
            for op, at in self._named(ref, site)
            if self.is_present(op, at) or (op.if_needed and holds(op.when, self._options))
        )

    def prerequisites(self, ref: str, site: Site) -> tuple[str, ...]:
        """Like :meth:`step_ids`. An operation that is left out is replaced by what it comes after."""
        return self._present_of(list(self._named(ref, site)))

    def passed_through(self, operation: Operation, place: str | None) -> tuple[str, ...]:
        """The ids of the steps that an operation at a place comes after, which is left out."""
        return self._present_of(self._earlier(operation, place))

    def _present_of(self, waiting: list[Located]) -> tuple[str, ...]:
        """The ids of the steps that the order passes to from ``waiting``, in which operations may be left out."""
        found: dict[str, None] = {}
        passed: set[tuple[str, str | None]] = set()
        while waiting:
            operation, at = waiting.pop(0)
            if self.is_present(operation, at):
                found[str(StepId(operation.id, at))] = None
            elif (operation.id, at) not in passed:
                passed.add((operation.id, at))
                waiting[:0] = self._earlier(operation, at)
        return tuple(found)

    def _earlier(self, operation: Operation, place: str | None) -> list[Located]:
        """What an operation comes after by what is written in it."""
        site = site_of(operation, place)
        refs = [*operation.after, *(window.operation for window in operation.time), *operation.takes_apart]
        refs += [*operation.restarts, *([] if operation.again is None else [operation.again])]
        found: list[Located] = [one for ref in refs for one in self._named(ref.name, site)]
        found += [(one, at) for name in operation.findings for _, one, at in self._finding_keys(name, site)]
        return found

    def _named(self, ref: str, site: Site) -> Iterator[Located]:
        """The operations of the procedure that a reference names, each with its place."""
        wanted = StepId.parse(ref)
        operation = self._by_id.get(wanted.operation)
        if operation is not None:
            yield from ((operation, at) for at in self._at_places(operation, parts(wanted.place), site))
            return
        for member in self._sections.get(wanted.operation, ()):
            operation = self._by_id.get(member)
            if operation is not None:
                yield from ((operation, at) for at in self._places_of(operation))

    def _at_places(self, operation: Operation, indexes: tuple[str, ...], site: Site) -> Iterator[str | None]:
        if operation.each is None:
            yield None
            return
        section = operation.section if operation.section_each is not None else ""
        pattern = places_named(operation.each, indexes, site, section)
        if pattern is None:
            return
        places = self._places.get(operation.each, ())
        if is_several(pattern):
            yield from (one for one in places if fits(pattern, one))
        elif pattern in places:
            yield pattern

    # --- one step -----------------------------------------------------------------------------------

    def _step(self, operation: Operation, place: str | None) -> Step:
        site = site_of(operation, place)
        operation = variant_for(operation, {**self._options, **site.places})
        undo = operation.undo
        families, here = self._procedure.variable_families, site.places
        return Step(
            str(StepId(operation.id, place)),
            self._placed.placed(operation, site, lambda ref: self._redone_ids(ref, site)),
            place,
            self._present_of(self._earlier(operation, place)),
            settings_at(operation.needs, families, here),
            settings_at(operation.during, families, here),
            settings_at(operation.sets, families, here),
            tuple(self._windows(operation, place, site)),
            0.0 if operation.takes is None else seconds(operation.takes),
            settings_at(undo.needs, families, here) if undo else {},
            settings_at(undo.sets, families, here) if undo else {},
            tuple(one for ref in operation.restarts for one in self.step_ids(ref.name, site)),
            tuple(self._awaited(operation, site)),
        )

    def _windows(self, operation: Operation, place: str | None, site: Site) -> Iterator[TimeWindow]:
        for window in operation.time:
            for one in self.step_ids(window.operation.name, site):
                at = StepId.parse(one).place
                yield TimeWindow(
                    one,
                    None if window.low is None else seconds(window.low) + _CLOCK_STEP * window.low_open,
                    None if window.high is None else seconds(window.high) - _CLOCK_STEP * window.high_open,
                    window.text,
                    window.operation.mark,
                    "" if window.from_ is None else self._placed.name_at(window.from_.name, at),
                    "" if window.until is None else self._placed.name_at(window.until.name, place),
                    window.waive,
                    tuple(self._variables(window.proves, site)),
                    settings_at(window.while_, self._procedure.variable_families, site.places),
                )

    def _variables(self, proves: tuple[Ref, ...], site: Site) -> Iterator[str]:
        """The names of the state variables that ``proves`` means at a place."""
        yield from settings_at({ref.name: ref for ref in proves}, self._procedure.variable_families, site.places)

    def _awaited(self, operation: Operation, site: Site) -> Iterator[str]:
        """The findings that decide if the operation is done and are not known yet."""
        for name in operation.findings:
            for key, one, place in self._finding_keys(name, site):
                if key not in self._findings.answers and self.is_present(one, place):
                    yield key
