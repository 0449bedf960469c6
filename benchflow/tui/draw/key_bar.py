"""The keys as the screen shows them, made from the live bindings: nothing is listed by hand."""

from collections.abc import Sequence
from functools import cache
from typing import Any

from msgspec import Struct
from textual.binding import ActiveBinding, Binding
from textual.screen import Screen
from textual.widget import Widget

from benchflow.tui.draw.styled_lines import Line, cell_count, width_of

GAP = "   "
NAMES = {
    "enter": "Enter",
    "escape": "Esc",
    "space": "Space",
    "backspace": "⌫",
    "up": "↑",
    "down": "↓",
    "left": "←",
    "right": "→",
    "pagedown": "PgDn",
    "pageup": "PgUp",
    "question_mark": "?",
    "tab": "Tab",
    "home": "Home",
    "end": "End",
    "delete": "Del",
    "ctrl+u": "Ctrl U",
    "ctrl+k": "Ctrl K",
    "equals_sign": "=",
}
CHARACTERS = {"space": " ", "question_mark": "?", "equals_sign": "="}


def character_of(key: str) -> str | None:
    """The character that a key types, ``None`` for a key that types none."""
    return key if len(key) == 1 else CHARACTERS.get(key)


class KeyLabel(Struct, frozen=True):
    """``enabled`` is false where the action is blocked: it stays in view, greyed."""

    id: str
    key: str
    word: str
    enabled: bool
    shown: bool
    action: str = ""


def key_name(key: str) -> str:
    """``Enter``, ``F6``, ``n``: as it stands on the keyboard."""
    return NAMES.get(key) or (key.upper() if key.startswith("f") and key[1:].isdigit() else key)


def key_labels(screen: Screen[Any], focused: Widget | None) -> tuple[KeyLabel, ...]:
    """One for each live binding with words, in the order in which the screen lists them; where several keys do
    the same, the first stands for it. Keys that the focused field takes for itself are left out: they would
    only be typed."""
    found: dict[str, tuple[ActiveBinding, list[str]]] = {}
    for key, each in screen.active_bindings.items():
        binding = each.binding
        taken = focused is not None and focused.check_consume_key(key, character_of(key))
        if binding.description and binding.id and not taken:
            found.setdefault(binding.id, (each, []))[1].append(key)
    listed = keys_of(type(screen))
    rank = {name: place for place, name in enumerate(listed)}
    out = []
    for name, (each, keys) in sorted(found.items(), key=lambda item: rank.get(item[0], len(rank))):
        own = listed.get(name, tuple(keys))
        first = min(keys, key=lambda key: own.index(key) if key in own else len(own))
        shown = each.binding.key_display or key_name(first)
        out.append(KeyLabel(name, shown, each.binding.description, each.enabled, each.binding.show, _action(each)))
    return tuple(out)


@cache
def keys_of(screen: type[Screen[Any]]) -> dict[str, tuple[str, ...]]:
    """The bindings' ids in the order in which a screen lists them, each with its keys in that order."""
    own = (binding for binding in screen.BINDINGS if isinstance(binding, Binding))
    return {binding.id or "": tuple(key.strip() for key in binding.key.split(",")) for binding in own}


def _action(active: ActiveBinding) -> str:
    """The binding's action with its namespace, so that it can be run from anywhere."""
    action = active.binding.action
    return action if "." in action.partition("(")[0] else f"screen.{action}"


def draw_keys(words: Sequence[KeyLabel], width: int, most: int) -> list[Line]:
    """``Enter finish  w why  ? all keys  q leave`` in at most ``most`` rows. Where there is not room for all of
    them the blocked ones go first; the last to go are those that lead out and those that list the rest."""
    left = [word for word in words if word.shown]
    rows = _rows([_piece(word) for word in left], width)
    while len(rows) > most:
        blocked = [word for word in left if not word.enabled]
        spare = [word for word in left if not word.id.endswith((".back", ".leave", ".keys"))]
        if not spare:
            break
        left.remove((blocked or spare)[-1])
        rows = _rows([_piece(word) for word in left], width)
    return rows[:most]


def key_at(line: Line, x: int) -> tuple[str, str] | None:
    """The key and the word that stand at a cell of a row of keys, for a finger or a mouse."""
    at, key = 0, ""
    for text, role in line:
        at += cell_count(text)
        if role == "key":
            key = text
        elif key and x < at:
            return (key, text.strip()) if x >= at - cell_count(text) - cell_count(key) else None
        elif role == "text":
            key = ""
    return None


def _piece(word: KeyLabel) -> Line:
    if word.enabled:
        return ((word.key, "key"), (f" {word.word}", "text"))
    return ((word.key, "key-off"), (f" ({word.word})", "key-off"))


def _rows(pieces: Sequence[Line], width: int) -> list[Line]:
    out: list[Line] = []
    line: Line = ()
    for piece in pieces:
        if line and width_of(line) + len(GAP) + width_of(piece) > width:
            out.append(line)
            line = ()
        line = (*line, (GAP, "text"), *piece) if line else piece
    return [*out, line] if line else out
