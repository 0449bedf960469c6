"""The content of a draft: the set-up that its operations need, its sections, and the words not understood."""

import re
from collections.abc import Iterable
from typing import Any

from msgspec import Struct

from benchflow.base.plaintext import clean_line
from benchflow.writing.drafts.draft_yaml import Noted, comment_lines, yaml_lines

ASK = "ask"
_LONGEST_NAME = 40
_KEY_ORDER = (
    "id", "title", "each", "cautions", "do", "after", "needs", "during", "sets", "time", "uses", "record", "tighten",
    "check", "guards-against", "undo",
)  # fmt: skip
_SMALL_WORDS = frozenset(
    {"the", "a", "an", "of", "and", "to", "with", "for", "on", "in", "at", "all", "its", "it", "them"}
)


class KeptText(Struct, frozen=True):
    """Words of the source that were not understood and are kept as they are: their place, and why.

    ``refused`` is true for a figure that was not understood: the author has to write it.
    """

    place: str
    text: str
    why: str
    refused: bool = False

    @property
    def line(self) -> str:
        """One line for a message: ``row 4, column torque: “12,5”: a comma ...``."""
        return f"{self.place}: “{clean_line(self.text)[:80]}”: {self.why}"


class DraftSection(Struct):
    """A section: its title, comments and operations as mappings."""

    title: str
    comments: list[str]
    operations: list[Any]


class DraftBook:
    """Collects the parts of a draft. A name that is taken already gets a number, so that names are unique."""

    def __init__(self, ident: str, title: str) -> None:
        self.ident, self.title = ident, title
        self.head: list[str] = []
        self.tail: list[str] = []
        self.top: dict[str, Any] = {}
        self.places: dict[str, list[str]] = {}
        self.state: dict[str, Any] = {}
        self.interference: list[Any] = []
        self.moves: dict[str, Any] = {}
        self.parts: dict[str, Any] = {}
        self.consumables: dict[str, Any] = {}
        self.instruments: dict[str, Any] = {}
        self.joints: dict[str, Any] = {}
        self.failures: dict[str, Any] = {}
        self.sections: list[DraftSection] = []
        self.complaints: list[str] = []  # comments above `failures`
        self.follow_up: list[Any] = []
        self.questions: list[str] = []
        self.fits: dict[str, dict[str, Any]] = {}  # name of a part -> operation that fits it
        self.turns: list[dict[str, Any]] = []  # operations that turn everything
        self.locks: dict[str, str] = {}  # state that locks something -> its words
        self.kept: list[KeptText] = []
        self.left_in_words = 0  # figures in the words of steps that were not taken
        self.left_figures: list[str] = []  # their places and words
        self.unit_seen = ""  # the unit that was taken apart, and the day
        self._said: set[str] = set()  # comments that stand once
        self._taken: set[tuple[str, str]] = set()

    def name(self, text: str, kind: str = "operation", *, default: str = "step") -> str:
        """A name made of ``text`` that nothing else of its ``kind`` has: ``seat-input-shaft``."""
        words = [word for word in re.findall(r"[a-z0-9]+", text.lower()) if word not in _SMALL_WORDS]
        name = ""
        for word in words:
            if name and len(name) + len(word) + 1 > _LONGEST_NAME:
                break
            name = f"{name}-{word}" if name else word[:_LONGEST_NAME]
        if not name[:1].isalpha():
            name = f"{default}-{name}".rstrip("-")
        found, number = name, 2
        while (kind, found) in self._taken:
            found, number = f"{name}-{number}", number + 1
        self._taken.add((kind, found))
        return found

    def section(self, title: str, *comments: str) -> DraftSection:
        """A new section at the end."""
        found = DraftSection(title, list(comments), [])
        self.sections.append(found)
        return found

    def once(self, comment: str) -> tuple[str, ...]:
        """The comment, if it is not in the draft yet: what is explained once is not explained again."""
        if comment in self._said:
            return ()
        self._said.add(comment)
        return (comment,)

    def found_on(self, texts: Iterable[str]) -> tuple[str, ...]:
        """The comment about what was found at the unit that was taken apart; none without texts."""
        found = "; ".join(unique(texts))
        return (f"Found on {self.unit_seen}: {found}. Add a check if every unit should have it.",) if found else ()

    @staticmethod
    def arrange(operation: dict[str, Any]) -> None:
        """Sort the keys of an operation into the usual order, after keys were added."""
        keys = sorted(operation, key=lambda key: _KEY_ORDER.index(key) if key in _KEY_ORDER else len(_KEY_ORDER))
        ordered = {key: operation[key] for key in keys}
        operation.clear()
        operation.update(ordered)

    def keep(self, place: str, text: str, why: str, *, refused: bool = False) -> str:
        """Count words that were not understood. Returns the comment that keeps them."""
        kept = KeptText(place, text, why, refused)
        self.kept.append(kept)
        return f"NOT UNDERSTOOD ({place}): {text}"

    @property
    def operations(self) -> list[dict[str, Any]]:
        """The operations of all sections, in their order."""
        return [
            each.value if isinstance(each, Noted) else each for section in self.sections for each in section.operations
        ]

    def text(self) -> str:
        """The draft as the text of a procedure file."""
        lines: list[str] = [line for text in self.head for line in comment_lines(text)]
        top: dict[str, Any] = {"benchflow": 1, "id": self.ident, "title": self.title, "revision": "draft"}
        lines += yaml_lines({**top, **self.top})
        kit = {key: each for key, each in (("parts", self.parts), ("consumables", self.consumables)) if each}
        lines += [*_block("places", self.places), *_block("state", self.state)]
        lines += ["", *(line for text in self.questions for line in comment_lines(text))] if self.questions else []
        setup: dict[str, Any] = {
            "interference": self.interference, "moves": self.moves, "kit": kit, "instruments": self.instruments,
            "joints": self.joints, "failures": self.failures,
        }  # fmt: skip
        for key, value in setup.items():
            above = self.complaints if key == "failures" else []
            lines += ["", *(line for text in above for line in comment_lines(text))] if above else []
            lines += _block(key, value)[1 if above else 0 :]
        lines += ["", "sections:"]
        for section in self.sections:
            if not section.operations:
                continue
            lines += ["", *(line for text in section.comments for line in comment_lines(text, "  "))]
            lines += [f"  - title: {yaml_lines({'t': section.title})[0].partition(': ')[2]}", "    operations:"]
            for operation in section.operations:
                lines += yaml_lines([operation], 6)
        lines += _block("follow-up", self.follow_up)
        lines += ["", *(line for text in self.tail for line in comment_lines(text))] if self.tail else []
        return "\n".join(lines) + "\n"


def _block(key: str, value: Any) -> list[str]:
    return ["", *yaml_lines({key: value})] if value else []


def plain_text(text: str) -> str:
    """A text for a title, an instruction or a check: on one line, and without braces, which would be placeholders."""
    return clean_line(text).replace("{", "(").replace("}", ")")


def sentence_case(text: str) -> str:
    """``text`` with its first letter as a capital."""
    return f"{text[:1].upper()}{text[1:]}"


def within_sentence(text: str) -> str:
    """``text`` without the capital of a sentence: ``Five-speed gearbox GK5`` is ``five-speed gearbox GK5``."""
    return f"{text[:1].lower()}{text[1:]}" if re.match(r"[A-Z][a-z]+(?:[ -][a-z]|$)", text) else text


def block_comment(ident: str) -> str:
    """The comment that names the building block for an operation."""
    return f"A building block for this: {ident} (benchflow blocks show {ident})"


def unique(texts: Iterable[str]) -> list[str]:
    """The texts without empty ones and repetitions, in their order."""
    return list(dict.fromkeys(text for text in texts if text))
