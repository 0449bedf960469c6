"""Asks what can touch what, because neither a teardown nor a list knows collisions, and writes the answers as rules."""

import re
from collections.abc import Callable, Sequence
from itertools import combinations
from typing import Any

from msgspec import Struct

from benchflow.writing.drafts.draft_book import DraftBook, plain_text
from benchflow.writing.drafts.part_words import is_moving

NOT_FITTED = "not-fitted"
MOST_QUESTIONS = 6
"""The most pairs of parts that are asked about."""

Ask = Callable[[str, str], str]
"""Asks one question, with the answer that Enter gives; returns the answer."""


class Collision(Struct, frozen=True):
    """Two parts that touch when each is in the position named."""

    first: str
    first_position: str
    second: str
    second_position: str
    because: str = ""


def moving_parts(titles: Sequence[str]) -> list[str]:
    """The parts that turn or slide, by their words, each once."""
    found: dict[str, None] = {}
    for title in titles:
        plain = re.sub(r"\s+", " ", plain_text(title)).strip().lower()
        singular = re.sub(r"(?<!s)s$", "", plain)
        if plain and is_moving(plain) and singular not in {re.sub(r"(?<!s)s$", "", each) for each in found}:
            found[plain] = None
    return list(found)


def pairs_to_ask(titles: Sequence[str]) -> list[tuple[str, str]]:
    """The pairs of moving parts to ask about; parts that lie near each other in the order come first."""
    parts = moving_parts(titles)
    near = sorted(combinations(range(len(parts)), 2), key=lambda pair: (pair[1] - pair[0], pair[0]))
    return [(parts[first], parts[second]) for first, second in near[:MOST_QUESTIONS]]


def ask_collisions(titles: Sequence[str], ask: Ask, unasked: list[str] | None = None) -> list[Collision]:
    """Ask about each pair, and then about any others. An empty answer means no; ``q`` ends the questions.

    The questions that were not asked then are added to ``unasked``.
    """
    found: list[Collision] = []
    pairs = pairs_to_ask(titles)
    for number, (first, second) in enumerate(pairs, 1):
        asked = f"{number} of {len(pairs)}: {_question(first, second)}"
        answer = ask(f"{asked} (y/n, q ends the questions)", "n").lower()[:1]
        if answer == "q":
            if unasked is not None:
                unasked += [_question(*pair) for pair in pairs[number - 1 :]]
            return found
        if answer == "y":
            found.append(_asked(first, second, ask))
    while True:
        other = ask("What else can touch something? Two names with a comma, or Enter for nothing", "")
        names = [plain_text(each).lower() for each in other.split(",") if each.strip()]
        if not names or names == ["q"]:
            return found
        if len(names) == 2:
            found.append(_asked(names[0], names[1], ask))


def _question(first: str, second: str) -> str:
    return f"Can the {first} touch the {second} when one of them moves?"


def _asked(first: str, second: str, ask: Ask) -> Collision:
    return Collision(
        first,
        ask(f"  In which position of the {first}? For example: at the top", "in the way"),
        second,
        ask(f"  And in which position of the {second}? For example: open", "in the way"),
        ask("  What happens then?", f"the {first} would touch the {second}"),
    )


def rule_text(each: Collision) -> str:
    """The rule of an answer, for the person who gave it."""
    first, second = _position(each.first_position), _position(each.second_position)
    return f"Rule: never {each.first} “{first}” while {each.second} is “{second}”: {each.because}."


def write_collisions(book: DraftBook, collisions: Sequence[Collision]) -> None:
    """Write the answers into the draft: a state for each part, a rule for each pair, a move for each position.

    The operation that fits a part sets its state, and waits until the other part is not where the rule forbids it. A
    move waits in the same way, so that the printed order holds the rules as well.
    """
    positions: dict[str, list[str]] = {}
    touching = {_position(text) for each in collisions for text in (each.first_position, each.second_position)}
    clear = "clear" if "clear" not in touching else "out-of-the-way"
    for each in collisions:
        for part, position in ((each.first, each.first_position), (each.second, each.second_position)):
            known = positions.setdefault(part, [*([NOT_FITTED] if part in book.fits else []), clear])
            name = _position(position)
            if name not in known:
                known.append(name)
    names = {part: book.name(part, "state", default="part") for part in positions}
    forbidden: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for each in collisions:
        one, other = (each.first, _position(each.first_position)), (each.second, _position(each.second_position))
        forbidden.setdefault(one, []).append(other)
        forbidden.setdefault(other, []).append(one)
        because = plain_text(each.because)
        book.interference.append({
            "never": {names[each.first]: one[1], names[each.second]: other[1]},
            "because": because[:1].upper() + because[1:],
        })  # fmt: skip
    for part, known in positions.items():
        fitted = [position for position in known if position != NOT_FITTED]
        book.state[names[part]] = {"values": known, "start": known[0], "title": f"The {part}"}
        for position in fitted:
            needs = _needs(forbidden.get((part, position), []), positions, names)
            if len(fitted) < len(known):
                needs[names[part]] = [each for each in fitted if each != position]
            move: dict[str, Any] = {"title": f"Bring the {part} to: {position.replace('-', ' ')}"}
            move["sets"] = {names[part]: position}
            book.moves[book.name(f"{part} {position}", "move", default="move")] = {
                **move, **({"needs": needs} if needs else {}),
            }  # fmt: skip
        if part in book.fits:
            others = [other for position in fitted for other in forbidden.get((part, position), [])]
            _fit_with_state(book.fits[part], {names[part]: clear}, _needs(others, positions, names))
    book.questions += [
        "The operations that fit these parts set their state. Write `needs` and `sets` on the other operations that "
        "turn or slide them:",
        *(f"- {part}: state `{names[part]}`" for part in positions),
    ]
    if unknown := [part for part in positions if part not in book.fits]:
        book.questions.append(
            f"No operation fits or moves these, so their rule blocks nothing yet: {', '.join(unknown)}"
        )


def _fit_with_state(operation: dict[str, Any], sets: dict[str, str], needs: dict[str, list[str]]) -> None:
    """Let the operation that fits a part set its state, and wait for the others."""
    if "each" in operation:
        return  # the state of one of several parts is another one at each place
    if needs:
        operation["needs"] = needs
    operation["sets"] = sets
    operation["undo"] = {**operation["undo"], "sets": dict.fromkeys(sets, NOT_FITTED)}


def _needs(
    others: Sequence[tuple[str, str]], positions: dict[str, list[str]], names: dict[str, str]
) -> dict[str, list[str]]:
    """The `needs` that keep parts out of the positions ``others``."""
    allowed = {part: list(positions[part]) for part, _ in others}
    for part, position in others:
        allowed[part] = [one for one in allowed[part] if one != position]
    return {names[part]: left for part, left in allowed.items()}


def _position(text: str) -> str:
    return "-".join(re.findall(r"[a-z0-9]+", text.lower())[:6]) or "in-the-way"


def write_questions(book: DraftBook, titles: Sequence[str]) -> None:
    """Write the questions as comments, where nobody could be asked."""
    pairs = pairs_to_ask(titles)
    book.questions += [
        "Collisions. This draft knows none, so the proof covers none. Answer these, and write a rule for each yes:"
    ]
    book.questions += [f"- {_question(*pair)}" for pair in pairs]
    book.questions += ["- What else can touch something while it is fitted, turned or lifted?"]
    book.questions += [
        "For a yes, write the positions, the rule, and `sets` and `needs` on the operations and moves, for example:",
        "state: {crank: {values: [clear, at-top], start: ask}, valves: {values: [closed, open], start: closed}}",
        "interference: [{never: {crank: at-top, valves: open}, because: The valves would hit the pistons}]",
        "moves: {turn-crank-clear: {title: Turn the crank clear, sets: {crank: clear}}}",
    ]
