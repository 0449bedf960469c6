"""Asks which parts can touch each other, because neither a teardown nor a list says it."""

import re
from collections.abc import Callable, Sequence
from itertools import combinations

from msgspec import Struct

from benchflow.writing.drafts.draft_book import plain_text
from benchflow.writing.drafts.part_words import always_meets, is_moving, is_plate, is_same_rail, may_collide

MOST_QUESTIONS = 6
"""The largest number of pairs of parts that are asked about."""
_BACK, _END, _SKIP = "back", "end", ("", "n", "no", "none", "nothing")
_KEYS = "y yes, n no (Enter), b back, q end"

Ask = Callable[[str, str], str]
"""Asks one question, with the answer that Enter gives; returns the answer."""
Say = Callable[[str], None]
"""Shows one line."""


class Collision(Struct, frozen=True):
    """Two parts that touch if both are in the named positions."""

    first: str
    first_position: str
    second: str
    second_position: str
    because: str = ""


class HeldStill(Struct, frozen=True):
    """Parts that must not be turned or moved while something is locked. ``lock`` describes that state in words."""

    lock: str
    parts: tuple[str, ...]


Answer = Collision | HeldStill


def moving_parts(titles: Sequence[str]) -> list[str]:
    """The parts that turn or slide, by their words, each once."""
    found: dict[str, None] = {}
    for title in titles:
        plain = _plain(title)
        singular = re.sub(r"(?<!s)s$", "", plain)
        if plain and is_moving(plain) and singular not in {re.sub(r"(?<!s)s$", "", each) for each in found}:
            found[plain] = None
    return list(found)


def pairs_to_ask(titles: Sequence[str]) -> list[tuple[str, str]]:
    """The pairs of parts to ask about, at least one of them moving.

    Pairs of kinds that touch in practice, such as a fork and a gear, come first; then parts that lie near each other in
    the order.
    """
    moving = moving_parts(titles)
    still = [plain for plain in dict.fromkeys(map(_plain, titles)) if is_plate(plain) and plain not in moving]
    places: dict[str, int] = {}
    for place, plain in enumerate(map(_plain, titles)):
        places.setdefault(plain, place)
    parts = sorted([*moving, *still], key=lambda part: places[part])
    ranked: list[tuple[float, int, tuple[str, str]]] = []
    for number, (first, second) in enumerate(combinations(parts, 2)):
        if (first in still and second in still) or always_meets(first, second):
            continue
        far = float(abs(parts.index(first) - parts.index(second)))
        far = 1.0 if is_same_rail(first, second) else far
        far = far / 5 if may_collide(first, second) else far
        ranked.append((far + 1.5 * (first in still or second in still), number, (first, second)))
    return [pair for _, _, pair in sorted(ranked)[:MOST_QUESTIONS]]


def _plain(title: str) -> str:
    return re.sub(r"\s+", " ", plain_text(title)).strip().lower()


def ask_collisions(
    titles: Sequence[str],
    ask: Ask,
    say: Say = lambda text: None,
    locks: Sequence[str] = (),
    unasked: list[str] | None = None,
) -> list[Answer]:
    """Ask about each pair, about each state that locks something, and then about any others.

    Enter means no. ``b`` goes back to the question before. ``q`` ends the questions; what was answered is kept,
    and the questions that were not asked then are added to ``unasked``.
    """
    interview = _Interview(titles, ask, say, locks)
    found = interview.answers()
    if unasked is not None:
        unasked += interview.unasked
    return found


def pair_question(first: str, second: str) -> str:
    """The question about two parts."""
    return f"Can the {first} hit or block the {second} in a wrong position?"


def lock_question(lock: str) -> str:
    """The question about a state that locks something."""
    return f"While “{lock}”: what must not be turned or moved?"


class _Interview:
    """The questions one after another, with their answers."""

    def __init__(self, titles: Sequence[str], ask: Ask, say: Say, locks: Sequence[str]) -> None:
        self.ask, self.say = ask, say
        pairs = pairs_to_ask(titles)
        self.texts = [*(pair_question(*pair) for pair in pairs), *map(lock_question, locks)]
        self.unasked: list[str] = []
        self.questions: list[Callable[[str], list[Answer] | str]] = [
            lambda head, first=first, second=second: self._pair(head, first, second)  # type: ignore[misc]
            for first, second in pairs
        ]
        self.questions += [lambda head, lock=lock: self._lock(head, lock) for lock in locks]  # type: ignore[misc]
        self.questions.append(self._others)

    def answers(self) -> list[Answer]:
        """Ask, and return what was answered."""
        found: dict[int, list[Answer]] = {}
        number = 0
        while number < len(self.questions):
            answer = self.questions[number](f"Question {number + 1} of {len(self.questions)}: ")
            if answer == _END:
                self.unasked = self.texts[number:]
                break
            if isinstance(answer, str):
                if number == 0:
                    self.say("This is the first question.")
                number = max(number - 1, 0)
                found.pop(number, None)
                continue
            for each in answer:
                self.say(rule_text(each))
            found[number] = answer
            number += 1
        return [each for number in sorted(found) for each in found[number]]

    def _pair(self, head: str, first: str, second: str) -> list[Answer] | str:
        while True:
            answer = self.ask(f"{head}{pair_question(first, second)} ({_KEYS})", "n").lower()
            if answer in ("b", "q"):
                return _BACK if answer == "b" else _END
            if answer in _SKIP:
                return []
            if answer in ("y", "yes"):
                asked = self._positions(first, second)
                if asked != _BACK:
                    return [asked] if isinstance(asked, Collision) else asked
            else:
                self.say(f"“{plain_text(answer)}” is not an answer. {_KEYS}.")

    def _positions(self, first: str, second: str) -> Collision | str:
        """The positions in which they touch; back or end, if the builder chooses that."""
        texts: list[str] = []
        questions = (
            (f"In which position of the {first}? For example: at the top", "in the way"),
            (f"And in which position of the {second}? For example: open", "in the way"),
            ("What happens then?", f"the {first} would hit or block the {second}"),
        )
        while len(texts) < len(questions):
            question, default = questions[len(texts)]
            answer = plain_text(self.ask(question, default)).strip()
            if answer.lower() == "q":
                self.say("This question is not answered: nothing is written for it.")
                return _END
            if answer.lower() == "b":
                return _BACK
            if len(texts) < 2 and "," in answer:
                self.say("Name one position, without a comma. Two positions are two rules.")
                continue
            if len(texts) < 2 and not re.search(r"[a-z0-9]", answer.lower()):
                self.say("A position needs a word, such as: at the top.")
                continue
            texts.append(answer)
        return Collision(first, texts[0], second, texts[1], texts[2])

    def _lock(self, head: str, lock: str) -> list[Answer] | str:
        question = f"{head}{lock_question(lock)} Names with a comma; Enter for nothing"
        answer = plain_text(self.ask(question, "")).strip()
        if answer.lower() in ("b", "q"):
            return _BACK if answer.lower() == "b" else _END
        names = tuple(dict.fromkeys(name.strip().lower() for name in answer.split(",") if name.strip()))
        return [] if answer.lower() in _SKIP else [HeldStill(lock, names)]

    def _others(self, head: str) -> list[Answer] | str:
        found: list[Answer] = []
        while True:
            answer = self.ask(
                f"{head}What else can hit or block something? Two names with a comma; Enter for nothing", ""
            )
            names = [plain_text(each).lower().strip() for each in answer.split(",") if each.strip()]
            if names == ["b"] and not found:
                return _BACK
            if not names or names == ["q"] or answer.strip().lower() in _SKIP:
                return found
            if len(names) != 2 or names[0] == names[1]:
                self.say("Name two different parts with a comma between them, such as: fork, gear.")
                continue
            asked = self._positions(names[0], names[1])
            if isinstance(asked, Collision):
                self.say(rule_text(asked))
                found.append(asked)
            elif asked == _END:
                return found


def position_name(text: str) -> str:
    """The name of a position in the file: ``at-the-top``."""
    return "-".join(re.findall(r"[a-z0-9]+", text.lower())[:6]) or "in-the-way"


def rule_text(each: Answer) -> str:
    """The rule of an answer, for the person who gave it."""
    if isinstance(each, HeldStill):
        return f"Rule: never turn or move {', '.join(each.parts)} while “{each.lock}”."
    first, second = position_name(each.first_position), position_name(each.second_position)
    return f"Rule: never {each.first} “{first}” while {each.second} is “{second}”: {each.because}."
