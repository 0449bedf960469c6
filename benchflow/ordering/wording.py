"""How the ordering speaks of variables, values and steps to a mechanic."""

from collections.abc import Iterable

from benchflow.procedure.model import Procedure, Variable
from benchflow.procedure.plan import Plan


def variable_named(procedure: Procedure, name: str) -> Variable | None:
    return procedure.variables_by_name.get(name)


def variable_title(procedure: Procedure, name: str) -> str:
    """``Pistons`` for ``pistons``; the author's own title where there is one."""
    variable = variable_named(procedure, name)
    title = variable.title if variable and variable.title else name.replace("-", " ").replace("_", " ")
    return title[:1].upper() + title[1:]


def value_words(procedure: Procedure, name: str, value: str | None) -> str:
    """``at the deck`` for ``at-deck``, where the author gave the words."""
    if value is None:
        return "not known"
    variable = variable_named(procedure, name)
    return variable.words.get(value, value) if variable else value


def stands(procedure: Procedure, name: str, value: str | None) -> str:
    """``Pistons stand at the deck``."""
    title = variable_title(procedure, name)
    if value is None:
        return f"How {in_a_sentence(title)} {_verb(title, 'stand', 'stands')} is not known"
    return f"{title} {_verb(title, 'stand', 'stands')} {value_words(procedure, name, value)}"


def must_stand(procedure: Procedure, name: str, wanted: Iterable[str]) -> str:
    """``Pistons must stand down or half way``."""
    words = one_of(value_words(procedure, name, value) for value in wanted)
    return f"{variable_title(procedure, name)} must stand {words}"


def one_of(words: Iterable[str]) -> str:
    return _listed(list(words), "or")


def all_of(words: Iterable[str]) -> str:
    return _listed(list(words), "and")


def in_a_sentence(title: str) -> str:
    """The title as it reads in the middle of a sentence; ``TDC mark`` keeps its capitals."""
    return title if title[1:2].isupper() else title[:1].lower() + title[1:]


def step_title(plan: Plan, step_id: str) -> str:
    step = plan.steps.get(step_id)
    return step.title if step and step.title else step_id


def move_title(procedure: Procedure, move_id: str) -> str:
    move = procedure.moves_by_id.get(move_id)
    return move_id if move is None else move.title or move_id


def _listed(words: list[str], joint: str) -> str:
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {joint} {words[-1]}"


def _verb(title: str, plural: str, singular: str) -> str:
    # English plurals well enough for names of parts: "pistons stand", "the chain stands", "the boss stands".
    last = title.rsplit(" ", 1)[-1].lower()
    return plural if last.endswith("s") and not last.endswith(("ss", "us", "is")) else singular
