"""Writes the answers about collisions as states, rules and moves, and on the operations that fit the parts."""

import re
from collections.abc import Sequence
from typing import Any

from benchflow.writing.drafts.collision_questions import (
    Answer,
    Collision,
    HeldStill,
    lock_question,
    pair_question,
    pairs_to_ask,
    position_name,
)
from benchflow.writing.drafts.draft_book import DraftBook, plain_text, sentence_case, unique

NOT_FITTED = "not-fitted"


def write_collisions(book: DraftBook, answers: Sequence[Answer]) -> None:
    """Write the answers into the draft: a state for each part, a rule for each pair, a move for each position.

    The operation that fits a part sets its state, and waits until the other part is not where the rule forbids it. A
    move waits in the same way, so that the printed order keeps the rules as well. What turns the assembly waits until
    every part is clear.
    """
    collisions = [_with_fitted_names(book, each) for each in answers if isinstance(each, Collision)]
    if collisions:
        _CollisionRules(book, collisions).write()
    for each in answers:
        if isinstance(each, HeldStill):
            _write_held(book, each)


class _CollisionRules:
    """The states, rules and moves of collisions in one draft."""

    def __init__(self, book: DraftBook, collisions: Sequence[Collision]) -> None:
        self.book, self.collisions = book, collisions
        touching = {position_name(text) for each in collisions for text in (each.first_position, each.second_position)}
        self.clear = "clear" if "clear" not in touching else "out-of-the-way"
        self.positions: dict[str, list[str]] = {}
        self.forbidden: dict[tuple[str, str], list[tuple[str, str]]] = {}
        for each in collisions:
            one = (each.first, position_name(each.first_position))
            other = (each.second, position_name(each.second_position))
            for part, position in (one, other):
                start = [*([NOT_FITTED] if part in book.fits else []), self.clear]
                known = self.positions.setdefault(part, start)
                if position not in known:
                    known.append(position)
            self.forbidden.setdefault(one, []).append(other)
            self.forbidden.setdefault(other, []).append(one)
        self.names = {part: book.name(part, "state", default="part") for part in self.positions}

    def write(self) -> None:
        """Write all of it."""
        book, names = self.book, self.names
        for each in self.collisions:
            because = plain_text(each.because) or "They would touch"
            book.interference.append({
                "never": {names[each.first]: position_name(each.first_position),
                          names[each.second]: position_name(each.second_position)},
                "because": sentence_case(because),
            })  # fmt: skip
        for part, known in self.positions.items():
            fitted = [position for position in known if position != NOT_FITTED]
            state: dict[str, Any] = {"values": known, "start": known[0], "title": sentence_case(part)}
            if part not in book.fits:
                state |= {"start": "ask", "ask": f"Where is the {part} now?"}
            book.state[names[part]] = state
            for position in fitted:
                self._move(part, position, fitted)
            if part in book.fits:
                self._fit(part, fitted)
        for operation in book.turns:
            early = operation is not book.turns[-1]  # some of the parts may not be fitted yet
            needs = {
                names[part]: [NOT_FITTED, self.clear] if early and part in book.fits else self.clear
                for part in self.positions
            }
            operation["needs"] = {**operation.get("needs", {}), **needs}
            again = "is clear again, if it is fitted" if early else "is clear again"
            operation["check"] = [*operation["check"], *(f"The {part} {again}" for part in self.positions)]
            book.arrange(operation)
        book.questions += [
            "The operations that fit these parts set their state. Write `needs` and `sets` on the other operations "
            "that turn or slide them:",
            *(f"- {part}: state `{names[part]}`" for part in self.positions),
        ]
        if unknown := [part for part in self.positions if part not in book.fits]:
            book.questions.append(
                f"No operation fits these parts, so only their moves set their state: {', '.join(unknown)}"
            )

    def _move(self, part: str, position: str, fitted: list[str]) -> None:
        needs = self._needs(self.forbidden.get((part, position), []))
        if len(fitted) < len(self.positions[part]):
            needs[self.names[part]] = [each for each in fitted if each != position]
        move: dict[str, Any] = {"title": f"Bring the {part} to: {position.replace('-', ' ')}"}
        move["sets"] = {self.names[part]: position}
        self.book.moves[self.book.name(f"{part} {position}", "move", default="move")] = {
            **move, **({"needs": needs} if needs else {}),
        }  # fmt: skip

    def _fit(self, part: str, fitted: list[str]) -> None:
        """Let the operation that fits a part set its state, and wait for the others.

        If the operation is repeated for several parts, they share one state: the fitted ones must be clear before the
        next one is fitted, and the state remains known when one comes off again.
        """
        operation, name = self.book.fits[part], self.names[part]
        needs = self._needs([other for each in fitted for other in self.forbidden.get((part, each), [])])
        undo: dict[str, Any] = {**operation["undo"]}
        if "each" in operation:
            needs[name] = [NOT_FITTED, self.clear]
            undo["needs"] = {**undo.get("needs", {}), name: self.clear}
            undo["sets"] = {name: self.clear}
        else:
            undo["sets"] = {name: NOT_FITTED}
        operation["needs"] = {**operation.get("needs", {}), **needs}
        operation["sets"] = {name: self.clear}
        away = " or ".join(f"“{each.replace('-', ' ')}”" for each in fitted if each != self.clear)
        operation["check"] = unique([*operation.get("check", []), f"The {part} is not {away}"])
        operation["undo"] = undo
        self.book.arrange(operation)

    def _needs(self, others: Sequence[tuple[str, str]]) -> dict[str, Any]:
        """The `needs` that keep parts out of the positions ``others``."""
        allowed = {part: list(self.positions[part]) for part, _ in others}
        for part, position in others:
            allowed[part] = [one for one in allowed[part] if one != position]
        return {self.names[part]: left for part, left in allowed.items()}


def _with_fitted_names(book: DraftBook, each: Collision) -> Collision:
    """The collision with the names of the parts that are fitted: `fork` is `fork 1/2`, if it is the only fork."""
    return Collision(
        _fitted_name(book, each.first), each.first_position, _fitted_name(book, each.second), each.second_position,
        each.because,
    )  # fmt: skip


def _fitted_name(book: DraftBook, part: str) -> str:
    plain = re.sub(r"^the ", "", part.strip().lower())
    if plain in book.fits:
        return plain
    found = [each for each in book.fits if re.search(rf"\b{re.escape(plain)}s?\b", each)]
    return found[0] if len(found) == 1 else plain


def _write_held(book: DraftBook, held: HeldStill) -> None:
    """Parts that must not turn while something is locked: a state of each, and a rule for it."""
    lock = next((name for name, words in book.locks.items() if words == held.lock), "")
    if not lock:
        return
    for part in held.parts:
        name = book.name(f"{part} turning", "state", default="part")
        book.state[name] = {"values": ["still", "turning"], "start": "still", "title": sentence_case(part)}
        book.interference.append({
            "never": {lock: "locked", name: "turning"},
            "because": f"The {part} must not be turned or moved while this is so: {held.lock}",
        })  # fmt: skip
        for operation in book.turns:
            operation["during"] = {**operation.get("during", {}), name: "turning"}
            book.arrange(operation)
        book.questions.append(
            f"Write `during: {{{name}: turning}}` on each other operation that turns or moves the {part}"
        )


def write_questions(book: DraftBook, titles: Sequence[str]) -> None:
    """Write the questions as comments, for a run without a terminal."""
    pairs = pairs_to_ask(titles)
    book.questions += [
        "Collisions. This draft knows none, so the proof covers none. Answer these, and write a rule for each yes:"
    ]
    book.questions += [f"- {pair_question(*pair)}" for pair in pairs]
    book.questions += [f"- {lock_question(words)}" for words in book.locks.values()]
    book.questions += ["- What else can hit or block something while it is fitted, turned or lifted?"]
    book.questions += [
        "For a yes, write the positions, the rule, and `sets` and `needs` on the operations and moves, for example:",
        "state: {crank: {values: [clear, at-top], start: ask}, valves: {values: [closed, open], start: closed}}",
        "interference: [{never: {crank: at-top, valves: open}, because: The valves would hit the pistons}]",
        "moves: {turn-crank-clear: {title: Turn the crank clear, sets: {crank: clear}}}",
    ]
