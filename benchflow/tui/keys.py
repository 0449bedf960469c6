"""The keys as the screen shows them, made from the live bindings: nothing is listed by hand."""

from collections.abc import Iterable

from msgspec import Struct
from textual.binding import ActiveBinding
from textual.widget import Widget

from benchflow.tui.lines import Line, Span, cell_count

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
    "equals_sign": "=",
}
CHARACTERS = {"space": " ", "question_mark": "?", "equals_sign": "="}


def character_of(key: str) -> str | None:
    """The character that a key types, ``None`` for a key that types none."""
    return key if len(key) == 1 else CHARACTERS.get(key)


class KeyWord(Struct, frozen=True):
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


def key_words(active: Iterable[ActiveBinding], focused: Widget | None) -> tuple[KeyWord, ...]:
    """One for each binding with words; where several keys do the same, the first stands for it. Keys that
    the focused field takes for itself are left out: they would only be typed."""
    out: dict[str, KeyWord] = {}
    for each in active:
        binding = each.binding
        if not binding.description or not binding.id:
            continue
        if focused is not None and focused.check_consume_key(binding.key, character_of(binding.key)):
            continue
        shown = binding.key_display or key_name(binding.key)
        if binding.id not in out:
            out[binding.id] = KeyWord(binding.id, shown, binding.description, each.enabled, binding.show, _action(each))
    return tuple(out.values())


def _action(active: ActiveBinding) -> str:
    """The binding's action with its namespace, so that it can be run from anywhere."""
    action = active.binding.action
    return action if "." in action.partition("(")[0] else f"screen.{action}"


def draw_keys(words: Iterable[KeyWord], width: int, most: int) -> list[Line]:
    """``Enter finish  w why  q leave`` in at most ``most`` rows, in the bindings' order."""
    out: list[Line] = []
    line: list[Span] = []
    used = 0
    for word in words:
        if not word.shown:
            continue
        cells = cell_count(word.key) + 1 + cell_count(word.word)
        if line and used + 3 + cells > width:
            out.append(tuple(line))
            line, used = [], 0
        if line:
            line.append(("   ", "text"))
            used += 3
        line.append((word.key, "key" if word.enabled else "key-off"))
        line.append((f" {word.word}" if word.enabled else f" ({word.word})", "text" if word.enabled else "key-off"))
        used += cells + (0 if word.enabled else 2)
    if line:
        out.append(tuple(line))
    return out[:most]
