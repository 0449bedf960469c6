"""The key bar at the foot of a screen, made from the active bindings."""

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
    "slash": "/",
}
CHARACTERS = {"space": " ", "question_mark": "?", "equals_sign": "=", "slash": "/"}


def character_of(key: str) -> str | None:
    """Return the character that a key types, or ``None``."""
    return key if len(key) == 1 else CHARACTERS.get(key)


class KeyLabel(Struct, frozen=True):
    """One key with its label.

    A blocked action (``enabled`` is false) is greyed. The help lists every key, the key bar only those with ``shown``.
    """

    id: str
    key: str
    label: str
    enabled: bool
    shown: bool
    action: str = ""


def key_name(key: str) -> str:
    """Return the name printed on the key: ``Enter``, ``F6``, ``n``."""
    return NAMES.get(key) or (key.upper() if key.startswith("f") and key[1:].isdigit() else key)


def key_labels(screen: Screen[Any], focused: Widget | None) -> tuple[KeyLabel, ...]:
    """Return one label for each active binding with a description, in the order of the screen's bindings.

    If several keys have the same action, only the first is named. Keys that the focused field would take as text are
    left out.
    """
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
    """Return the keys of each binding by its id, in the order of the screen's bindings."""
    own = (binding for binding in screen.BINDINGS if isinstance(binding, Binding))
    return {binding.id or "": tuple(key.strip() for key in binding.key.split(",")) for binding in own}


def _action(active: ActiveBinding) -> str:
    """Return the action with its namespace, so that it can be run from another screen."""
    action = active.binding.action
    return action if "." in action.partition("(")[0] else f"screen.{action}"


def draw_keys(labels: Sequence[KeyLabel], width: int, max_rows: int) -> list[Line]:
    """Draw the key bar, such as ``Enter finish   w why   ? help   q leave``, in at most ``max_rows`` rows.

    If the keys do not fit, blocked keys are left out first, then the last ones. Help and leaving always stay.
    """
    left = [label for label in labels if label.shown]
    rows = _rows([_piece(label) for label in left], width)
    while len(rows) > max_rows:
        blocked = [label for label in left if not label.enabled]
        spare = [label for label in left if not label.id.endswith((".back", ".leave", ".help"))]
        if not spare:
            break
        left.remove((blocked or spare)[-1])
        rows = _rows([_piece(label) for label in left], width)
    return rows[:max_rows]


def key_at(line: Line, x: int) -> tuple[str, str] | None:
    """Return the key and the label at cell ``x`` of a row of the key bar, for a touch or a mouse click."""
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


def _piece(label: KeyLabel) -> Line:
    if label.enabled:
        return ((label.key, "key"), (f" {label.label}", "text"))
    return ((label.key, "key-off"), (f" ({label.label})", "key-off"))


def _rows(pieces: Sequence[Line], width: int) -> list[Line]:
    out: list[Line] = []
    line: Line = ()
    for piece in pieces:
        if line and width_of(line) + len(GAP) + width_of(piece) > width:
            out.append(line)
            line = ()
        line = (*line, (GAP, "text"), *piece) if line else piece
    return [*out, line] if line else out
