"""Titles and short phrases for variables, values, operations and moves, for messages to a mechanic."""

from collections.abc import Iterable

from benchflow.base.plaintext import listed
from benchflow.procedure.identity import ALL_PLACES, StepId, ValueRef
from benchflow.procedure.model import Procedure, Variable
from benchflow.procedure.plan import Plan, Step


def variable_named(procedure: Procedure, name: str) -> Variable | None:
    return procedure.variables_by_name.get(name)


def variable_title(procedure: Procedure, name: str) -> str:
    """The author's title, or one made of the name: ``Pistons`` for ``pistons``."""
    variable = variable_named(procedure, name)
    title = variable.title if variable and variable.title else name.replace("-", " ").replace("_", " ")
    return title[:1].upper() + title[1:]


def variable_value_text(procedure: Procedure, name: str, value: str | None) -> str:
    """The author's text for a value, or the value itself: ``at the deck`` for ``at-deck``."""
    if value is None:
        return "not known"
    variable = variable_named(procedure, name)
    return variable.words.get(value, value) if variable else value


def state_text(procedure: Procedure, name: str, value: str | None) -> str:
    """The value of a variable as a clause: ``Pistons are at the deck``."""
    title = variable_title(procedure, name)
    if value is None:
        return f"The state of {in_a_sentence(title)} is not known"
    return f"{title} {_verb(title)} {variable_value_text(procedure, name, value)}"


def required_state_text(procedure: Procedure, name: str, wanted: Iterable[str]) -> str:
    """The wanted values of a variable as a clause: ``Pistons must be down or half way``."""
    words = one_of(variable_value_text(procedure, name, value) for value in wanted)
    return f"{variable_title(procedure, name)} must be {words}"


def one_of(words: Iterable[str]) -> str:
    """``a, b or c``."""
    return listed(list(words), "or")


def all_of(words: Iterable[str]) -> str:
    """``a, b and c``."""
    return listed(list(words), "and")


def in_a_sentence(title: str) -> str:
    """The title as written in the middle of a sentence. An abbreviation such as ``TDC mark`` keeps its capitals."""
    return title if title[1:2].isupper() else title[:1].lower() + title[1:]


def step_title(plan: Plan, step_id: str) -> str:
    step = plan.steps.get(step_id)
    return step.title if step and step.title else step_id


def quoted_step(plan: Plan, step_id: str) -> str:
    """The title of a step in quotation marks, with its place if the title does not tell: ``“Seat it” (cylinder 2)``."""
    step, title = plan.steps.get(step_id), f"“{step_title(plan, step_id)}”"
    if step is None or step.place is None or not step.operation.each:
        return title
    same = [other for other in plan.steps.values() if other.operation.id == step.operation.id]
    alike = any(other.title == step.title and other.id != step.id for other in same)
    return f"{title} ({step.operation.each} {step.place})" if alike else title


def condition_text(plan: Plan, step: Step) -> str:
    """On what it depends if a step is done: ``only if “Play” is above its limit``; empty if it is always done."""
    clauses = [_finding_text(plan, step, name, answers) for name, answers in step.operation.findings.items()]
    if step.operation.if_needed:
        callers = plan.findings.called.get(step.id, ())
        whose = f" for {one_of(quoted_step(plan, name) for name in callers)}" if callers else ""
        clauses.insert(0, f"a remedy{whose} calls for it")
    return f"only if {all_of(clauses)}" if clauses else ""


_OUT = frozenset(("below", "above"))
_VERDICTS = {"below": "below its limit", "above": "above its limit", "ok": "within its limit"}


def _finding_text(plan: Plan, step: Step, name: str, answers: Iterable[str]) -> str:
    """One finding that decides as a clause: ``“Play” at 4 is above its limit``, ``“It turns” is answered no``."""
    ref = ValueRef.parse(name)
    for owner in plan.procedure.operations_of_finding(ref.name):
        index = ref.place if ref.place in plan.procedure.places.get(owner.each or "", ()) else step.place
        made = plan.steps.get(str(StepId(owner.id, index if owner.each else None)))
        operation = owner if made is None else made.operation
        titles = {ValueRef.parse(value.name).name: value.ask for value in operation.record}
        titles |= {ValueRef.parse(value.name).name: value.title for value in operation.work_out}
        titles |= {point.id: point.text for point in operation.check}
        title = titles.get(ref.name) or ""
        if not title or "{" in title:  # without a title, or for a place that is not known here
            title = ref.name.replace("-", " ")
            title = title[:1].upper() + title[1:]
        where = "".join(" at any of them" if one == ALL_PLACES else f" at {one}" for one in ref.indexes)
        verb = "is answered" if any(point.id == ref.name for point in operation.check) else "is"
        found = [_VERDICTS.get(each, each) for each in answers if each not in _OUT or not _OUT.issubset(answers)]
        found += ["outside its limit"] if _OUT.issubset(answers) else []
        return f"“{title}”{where} {verb} {one_of(found)}"
    return f"{name} is {one_of(answers)}"


def move_title(procedure: Procedure, move_id: str) -> str:
    move = procedure.moves_by_id.get(move_id)
    return move.title if move and move.title else move_id


def _verb(title: str) -> str:
    # A simple rule that fits the names of parts: "pistons are", "the chain is", "the boss is".
    last = title.rsplit(" ", 1)[-1].lower()
    return "are" if last.endswith("s") and not last.endswith(("ss", "us", "is")) else "is"
