"""Asks what can touch what, because neither a teardown nor a list knows collisions, and writes the answers as rules."""

import re
from collections.abc import Callable, Sequence
from itertools import combinations

from msgspec import Struct

from benchflow.writing.drafts.draft_book import DraftBook, plain_text
from benchflow.writing.drafts.part_words import is_moving

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


def ask_collisions(titles: Sequence[str], ask: Ask) -> list[Collision]:
    """Ask about each pair, and then about any others. An empty answer means no."""
    found: list[Collision] = []
    for first, second in pairs_to_ask(titles):
        if ask(f"Can the {first} touch the {second} when one of them moves? (y/n)", "n").lower()[:1] == "y":
            found.append(_asked(first, second, ask))
    while True:
        other = ask("What else can touch something? Two names with a comma, or Enter for nothing", "")
        names = [plain_text(each).lower() for each in other.split(",") if each.strip()]
        if not names:
            return found
        if len(names) == 2:
            found.append(_asked(names[0], names[1], ask))


def _asked(first: str, second: str, ask: Ask) -> Collision:
    return Collision(
        first,
        ask(f"  In which position of the {first}? For example: at the top", "in the way"),
        second,
        ask(f"  And in which position of the {second}? For example: open", "in the way"),
        ask("  What happens then?", f"the {first} would touch the {second}"),
    )


def write_collisions(book: DraftBook, collisions: Sequence[Collision]) -> None:
    """Write the answers into the draft: a state for each part, a rule for each pair, a move for each position.

    A move into a position waits until no rule forbids it, so the printed order holds the rules as well.
    """
    positions: dict[str, list[str]] = {}
    for each in collisions:
        for part, position in ((each.first, each.first_position), (each.second, each.second_position)):
            known = positions.setdefault(part, ["clear"])
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
        book.state[names[part]] = {"values": known, "start": "clear", "title": f"The {part}"}
        for position in known:
            move = {"title": f"Bring the {part} to: {position.replace('-', ' ')}", "sets": {names[part]: position}}
            needs = _needs(forbidden.get((part, position), []), positions, names)
            book.moves[book.name(f"{part} {position}", "move", default="move")] = {**move, **needs}


def _needs(
    others: Sequence[tuple[str, str]], positions: dict[str, list[str]], names: dict[str, str]
) -> dict[str, dict[str, list[str]]]:
    """The `needs` that keep a move out of what a rule forbids."""
    allowed = {part: list(positions[part]) for part, _ in others}
    for part, position in others:
        allowed[part] = [one for one in allowed[part] if one != position]
    return {"needs": {names[part]: left for part, left in allowed.items()}} if allowed else {}


def _position(text: str) -> str:
    return "-".join(re.findall(r"[a-z0-9]+", text.lower())[:6]) or "in-the-way"


def write_questions(book: DraftBook, titles: Sequence[str]) -> None:
    """Write the questions as comments, where nobody could be asked."""
    pairs = pairs_to_ask(titles)
    book.questions += [
        "Collisions. This draft knows none, so the proof covers none. Answer these, and write a rule for each yes:"
    ]
    book.questions += [f"- Can the {first} touch the {second} when one of them moves?" for first, second in pairs]
    book.questions += ["- What else can touch something while it is fitted, turned or lifted?"]
    book.questions += [
        "For a yes, write the positions, the rule, and `sets` and `needs` on the operations and moves, for example:",
        "state: {crank: {values: [clear, at-top], start: ask}, valves: {values: [closed, open], start: closed}}",
        "interference: [{never: {crank: at-top, valves: open}, because: The valves would hit the pistons}]",
        "moves: {turn-crank-clear: {title: Turn the crank clear, sets: {crank: clear}}}",
    ]
