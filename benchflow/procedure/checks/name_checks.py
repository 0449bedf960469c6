"""Checks of names: each name that is used has to be defined, and defined only once."""

from collections.abc import Iterable, Iterator

from benchflow.base.plaintext import with_article
from benchflow.procedure.deciding_findings import answers_of_findings, names_of_findings
from benchflow.procedure.identity import ALL_PLACES, StepId, ValueRef, joined, name_at, parts
from benchflow.procedure.keys.procedure_keys import UnnumberedProcedure
from benchflow.procedure.model import Mark, Operation, Procedure, parts_of, values_of
from benchflow.procedure.problems import hint_for
from benchflow.procedure.shapes.shape_base import Mention, ReadContext

_NOUNS = {
    "state": "state variable",
    "option": "option",
    "places": "set of places",
    "instrument": "instrument",
    "kit": "part or consumable",
    "used": "part, consumable or instrument",
    "joint": "joint",
    "failure": "complaint",
    "operation": "operation",
    "whole-operation": "operation",
    "prerequisite": "operation or section",
    "value": "recorded or calculated value",
    "parts": "part or recorded value",
    "section": "section",
    "move": "move",
    "chosen": "choice of a part",
    "condition": "option, value, check or choice of a part",
    "prerequisite-operation": "operation",
}

_WITH_PLACES = ("operation", "prerequisite", "prerequisite-operation", "value", "state", "condition")
"""The kinds of names that may be followed by a place."""


class NameTable:
    """The names that a procedure defines. ``sets_of`` has the sets of places that repeat them, by kind and name."""

    def __init__(self, procedure: Procedure) -> None:
        operations = procedure.operations
        self.places = procedure.places
        self.defined: dict[str, dict[str, Mark]] = {
            "state": {variable.family or variable.name: variable.mark for variable in procedure.state},
            "option": {option.name: option.mark for option in procedure.options},
            "places": dict.fromkeys(procedure.places, Mark()),
            "instrument": {need.id: need.mark for need in procedure.instruments},
            "kit": {item.id: item.mark for item in procedure.kit},
            "joint": {joint.id: joint.mark for joint in procedure.joints},
            "failure": {failure.id: failure.mark for failure in procedure.failures},
            "operation": _first_marks((op.id, op.mark) for op in operations if op.id),
            "section": {section.id: section.mark for section in procedure.sections},
            "move": {move.id: move.mark for move in procedure.moves},
            "value": _first_marks((name, mark) for op in operations for name, mark in _names_of_values(op)),
            "chosen": _first_marks((part.name, part.mark) for op in operations for part in parts_of(op)),
            "check": _first_marks((point.id, point.mark) for op in operations for point in op.check if point.id),
        }
        self.defined["condition"] = {
            **self.defined["value"],
            **self.defined["check"],
            **self.defined["chosen"],
            **self.defined["option"],
        }
        self.defined["prerequisite-operation"] = self.defined["operation"]
        self.defined["used"] = {**self.defined["kit"], **self.defined["instrument"]}
        self.defined["whole-operation"] = self.defined["operation"]
        self.defined["prerequisite"] = {**self.defined["section"], **self.defined["operation"]}
        self.defined["parts"] = {**self.defined["kit"], **self.defined["value"]}
        self.values = {
            "state-value": {variable.family or variable.name: variable.values for variable in procedure.state},
            "choice": {option.name: option.choices for option in procedure.options},
        }
        self.values["answer"] = {**answers_of_findings(operations), **self.values["choice"]}
        self.sets_of: dict[str, dict[str, tuple[str, ...]]] = {
            "operation": {op.id: parts(op.each) for op in operations},
            "state": {variable.family: parts(variable.each) for variable in procedure.state if variable.family},
            "finding": {name: parts(op.each) for op in operations for name in names_of_findings(op)},
        }
        self._procedure = procedure

    def resolve(self, context: ReadContext) -> None:
        """Report every use of a name that is not defined."""
        for mention in context.mentions:
            if context.problems.full:
                break
            if mention.name in context.unreadable_names or mention.of in context.unreadable_names:
                continue
            if mention.kind in self.values:
                self._check_value(mention, context)
            else:
                self._check_name(mention, context)

    def _check_value(self, mention: Mention, context: ReadContext) -> None:
        known = self.values[mention.kind].get(StepId.parse(mention.of).operation)
        if known is None or mention.name in known:
            return  # an unknown variable is reported where it is used
        noun = {"state-value": "value", "choice": "choice"}.get(mention.kind, "answer")
        context.problem(
            "unknown-name",
            mention.mark,
            f"`{mention.of}` has no {noun} `{mention.name}`",
            hint_for(mention.name, known),
        )

    def _check_name(self, mention: Mention, context: ReadContext) -> None:
        defined = self.defined[mention.kind]
        ref = ValueRef.parse(mention.name)
        name, place, _ = ref
        if name in defined and (place is None or mention.kind in _WITH_PLACES):
            if mention.kind == "value":
                self._check_indexes(mention, ref, context)
            elif place is not None:
                self._check_place(mention, name, ref.indexes, context)
            return
        if name in context.unreadable_names:
            return
        context.problem(
            "unknown-name",
            mention.mark,
            f"There is no {_NOUNS[mention.kind]} `{mention.name}`",
            self._hint(name, mention.kind, context),
        )

    def _check_place(self, mention: Mention, name: str, indexes: tuple[str, ...], context: ReadContext) -> None:
        """Report indexes that are not a place of something repeated. One index may be the own place in a section."""
        kinds = {"state": "state", "condition": "finding"}
        sets = self.sets_of[kinds.get(mention.kind, "operation")].get(name)
        if not sets:
            done = (
                "is done once and has no places" if mention.kind in ("operation", "prerequisite") else "has no places"
            )
            context.problem("unknown-name", mention.mark, f"`{name}` {done}", f"Write `{name}`")
            return
        first = max(len(sets) - len(indexes), 0)
        for index, name_of_set in zip(indexes, sets[first:], strict=False):
            places = self.places.get(name_of_set, ())
            if index != ALL_PLACES and index not in places:
                hint = hint_for(index, places)
                context.problem("unknown-name", mention.mark, f"`{name}` has no place `{index}`", hint)
        if len(indexes) > len(sets):
            why = f"`{name}` has {'one set' if len(sets) == 1 else 'two sets'} of places, not {len(indexes)}"
            example = name_at(name, joined(self.places.get(one, (ALL_PLACES,))[0] for one in sets))
            context.problem("unknown-name", mention.mark, why, f"Write, for example, `{example}`")

    def _check_indexes(self, mention: Mention, ref: ValueRef, context: ReadContext) -> None:
        """Report a place or a reading that a value does not have."""
        if not ref.indexes:
            return
        from benchflow.procedure.formula.expression import NameNode  # late import: few files need it
        from benchflow.procedure.index_meaning import IndexFault, Site, resolve_name
        from benchflow.procedure.value_indexes import ValueTable

        axes = ValueTable(self._procedure.operations, self.places).axes(ref.name)
        if axes is not None:
            found = resolve_name(NameNode(*ref, at=0), axes, self.places, Site())
            if isinstance(found, IndexFault) and found.code == "unknown-name":
                context.problem(found.code, mention.mark, found.why, found.hint)

    def _hint(self, name: str, kind: str, context: ReadContext) -> str:
        if name in self.defined[kind]:
            return f"Write `{name}` without a place"
        return self._hint_of_another_kind(name, kind) or context.hint(
            name, self.defined[kind], f"The file defines no {_NOUNS[kind]}"
        )

    def _hint_of_another_kind(self, name: str, kind: str) -> str:
        """A hint if the name is defined, but for something of another kind."""
        for other in (
            "operation",
            "section",
            "move",
            "state",
            "option",
            "kit",
            "instrument",
            "joint",
            "value",
            "chosen",
        ):
            if other != kind and name in self.defined[other]:
                return f"`{name}` is {with_article(_NOUNS[other])}"
        return ""


def _names_of_values(operation: Operation) -> Iterator[tuple[str, Mark]]:
    for value in values_of(operation):
        yield value.name, value.mark
        if operation.again is not None:  # in the copy itself the plain name is possible
            yield value.name.removeprefix(f"{operation.id}."), value.mark


def _first_marks(pairs: Iterable[tuple[str, Mark]]) -> dict[str, Mark]:
    found: dict[str, Mark] = {}
    for name, mark in pairs:
        found.setdefault(name, mark)
    return found


def check_unique(procedure: Procedure, written: UnnumberedProcedure, context: ReadContext) -> None:
    """Report a name that is defined twice, if a use of it would be ambiguous."""
    operations = procedure.operations
    steps = [
        *((move.id, move.mark, "a move") for move in procedure.moves),
        *((op.id, op.mark, "an operation") for op in operations if op.id),
        *((section.id, section.mark, "a section") for section in written.sections if section.id),
    ]
    values = [
        *((value.name, value.mark, "a value") for op in operations for value in values_of(op)),
        *((part.name, part.mark, "a choice") for op in operations for part in parts_of(op)),
    ]
    used = [
        *((item.id, item.mark, "a kit item") for item in procedure.kit),
        *((need.id, need.mark, "an instrument") for need in procedure.instruments),
    ]
    for group in (steps, values, used):
        _check_group(group, context)


def _check_group(group: list[tuple[str, Mark, str]], context: ReadContext) -> None:
    first: dict[str, tuple[Mark, str]] = {}
    for name, mark, what in sorted(group, key=lambda entry: (entry[1].line, entry[1].column)):
        if name not in first:
            first[name] = (mark, what)
            continue
        before, kind = first[name]
        context.problem(
            "duplicate-name",
            mark,
            f"`{name}` is already the name of {kind} on line {before.line}",
            "Rename one of the two",
        )
