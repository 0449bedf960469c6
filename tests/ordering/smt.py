"""Translates a plan to formulas for the solver z3: reachability by its Datalog engine, shortest lengths by its solver.

A configuration has one bit for each operation and as many bits as needed for each variable. Three sets are computed as
least fixed points: the reachable configurations, those that can be finished, and the dead ends. An empty set is
therefore proven to be empty. For shortest lengths the transition relation is unrolled step by step.
"""

from collections.abc import Iterator, Mapping, Sequence

import z3  # type: ignore[import-untyped]  # z3-solver ships no types
from msgspec import Struct

from benchflow.procedure.model import Procedure
from benchflow.procedure.plan import Plan
from tests.ordering import brute_force

Bits = dict[str, z3.BoolRef]


class Change(Struct, frozen=True):
    """One operation or move: when it is allowed, when it breaks a rule, and the bits that it writes."""

    allowed: z3.BoolRef
    breaks: z3.BoolRef
    writes: dict[str, bool]


class Smt:
    """The verdicts on a plan that has an allowed start.

    ``dead_end`` and ``breach`` are the length of a shortest witness, or ``None``.
    """

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._codes = {v.name: {value: code for code, value in enumerate(v.values)} for v in plan.procedure.state}
        self._names = [f"done {name}" for name in plan.steps]
        self._names += [f"{v.name}/{bit}" for v in plan.procedure.state for bit in range(_width(len(v.values)))]
        self._bits: Bits = {name: z3.Bool(name) for name in self._names}
        self._changes = list(self._all_changes())
        self._starts = [start for start in brute_force.starts(plan.procedure) if not _matches(plan.procedure, start)]
        assert self._starts
        sorts = [z3.BoolSort()] * (len(self._names) + 1)
        self._reach, self._finish, self._asked = (z3.Function(name, *sorts) for name in ("reach", "finish", "asked"))
        breaches = [z3.And(change.allowed, change.breaks) for change in self._changes]
        self.breach = self._fewest(z3.Or(breaches), 1) if self._reachable_with(z3.Or(breaches)) is not None else None
        dead = self._reachable_with(z3.BoolVal(True), never_finished=True)
        self.dead_end = None if dead is None else self._fewest(dead, 0)
        self.unreachable = {name for name in plan.steps if self._reachable_with(self._bits[f"done {name}"]) is None}

    # --- the transition relation ----------------------------------------------------------------------

    def _all_changes(self) -> Iterator[Change]:
        for step in self._plan.steps.values():
            own_bit = self._bits[f"done {step.id}"]
            before = [self._bits[f"done {name}"] for name in step.after]
            breaks = z3.Or(self._breaks_a_rule(step.during), self._breaks_a_rule(step.sets))
            allowed = z3.And(z3.Not(own_bit), *before, self._meets(step.needs))
            yield Change(allowed, breaks, {f"done {step.id}": True, **self._written(step.sets)})
        for move in brute_force.moves(self._plan):
            meanwhile = [self._breaks_a_rule(move.during)] if move.during else []
            breaks = z3.Or(self._breaks_a_rule(move.sets), *meanwhile)
            yield Change(self._meets(move.needs), breaks, self._written(move.sets))

    def _written(self, values: Mapping[str, str]) -> dict[str, bool]:
        found = {}
        for name, value in values.items():
            for bit in range(_width(len(self._codes[name]))):
                found[f"{name}/{bit}"] = bool(self._codes[name][value] >> bit & 1)
        return found

    def _equals(self, name: str, value: str) -> z3.BoolRef:
        return z3.And([b if on else z3.Not(b) for b, on in self._literals({name: value})])

    def _literals(self, values: Mapping[str, str]) -> list[tuple[z3.BoolRef, bool]]:
        return [(self._bits[name], on) for name, on in self._written(values).items()]

    def _meets(self, needs: Mapping[str, Sequence[str]]) -> z3.BoolRef:
        return z3.And([z3.Or([self._equals(name, value) for value in values]) for name, values in needs.items()])

    def _breaks_a_rule(self, written: Mapping[str, str]) -> z3.BoolRef:
        """A formula that is true if a rule is broken once ``written`` replaces the current values."""

        def has_value(name: str, values: Sequence[str]) -> z3.BoolRef:
            if name in written:
                return z3.BoolVal(written[name] in values)
            return z3.Or([self._equals(name, value) for value in values])

        rules = self._plan.procedure.interference
        return z3.Or([z3.And([has_value(name, values) for name, values in rule.never.items()]) for rule in rules])

    def _at_start(self) -> z3.BoolRef:
        undone = [z3.Not(self._bits[f"done {name}"]) for name in self._plan.steps]
        return z3.And(
            *undone, z3.Or([z3.And([self._equals(n, v) for n, v in start.items()]) for start in self._starts])
        )

    # --- least fixed points -----------------------------------------------------------------------

    def _reachable_with(self, wanted: z3.BoolRef, *, never_finished: bool = False) -> z3.BoolRef | None:
        """A formula for the reachable configurations for which ``wanted`` is true; ``None`` if there are none."""
        here = [self._bits[name] for name in self._names]
        engine = z3.Fixedpoint()
        engine.set(engine="datalog")
        engine.register_relation(self._reach, self._finish, self._asked)
        engine.declare_var(*here)
        engine.rule(self._reach(*here), self._at_start())
        everything = [self._bits[f"done {name}"] for name in self._plan.steps]
        engine.rule(self._finish(*here), z3.And(self._reach(*here), *everything))
        for change in self._changes:
            there = [
                z3.BoolVal(change.writes[name]) if name in change.writes else self._bits[name] for name in self._names
            ]
            allowed = z3.And(change.allowed, z3.Not(change.breaks))
            engine.rule(self._reach(*there), z3.And(self._reach(*here), allowed))
            engine.rule(self._finish(*here), z3.And(self._reach(*here), self._finish(*there), allowed))
        lost = [z3.Not(self._finish(*here))] if never_finished else []
        engine.rule(self._asked(*here), z3.And(self._reach(*here), *lost, wanted))
        answer = engine.query(self._asked(*here))
        assert answer in (z3.sat, z3.unsat)
        return z3.substitute_vars(engine.get_answer(), *here) if answer == z3.sat else None

    # --- shortest paths ---------------------------------------------------------------------------

    def _fewest(self, wanted: z3.BoolRef, more: int) -> int:
        """The fewest steps to a configuration for which ``wanted`` is true, plus ``more``. One must be reachable."""
        solver = z3.Solver()
        solver.add(self._at(self._at_start(), 0))
        steps = 0
        while solver.check(self._at(wanted, steps)) != z3.sat:
            solver.add(z3.Or([self._change_at(change, steps) for change in self._changes]))
            steps += 1
        return steps + more

    def _change_at(self, change: Change, time: int) -> z3.BoolRef:
        kept = [
            z3.Bool(f"{name}@{time + 1}")
            == (z3.BoolVal(change.writes[name]) if name in change.writes else z3.Bool(f"{name}@{time}"))
            for name in self._names
        ]
        return z3.And(self._at(change.allowed, time), z3.Not(self._at(change.breaks, time)), *kept)

    def _at(self, formula: z3.BoolRef, time: int) -> z3.BoolRef:
        return z3.substitute(formula, *((bit, z3.Bool(f"{name}@{time}")) for name, bit in self._bits.items()))


def _width(values: int) -> int:
    return max((values - 1).bit_length(), 1)


def _matches(procedure: Procedure, start: Mapping[str, str]) -> bool:
    return any(all(start[n] in values for n, values in rule.never.items()) for rule in procedure.interference)
