"""The message after an accepted intent of a teardown."""

from typing import Any

from benchflow.base.plaintext import folded
from benchflow.session.teardown.teardown_record import TeardownRecord
from benchflow.tui.draw.styled_lines import cut

LONGEST_NAME = 50
"""Columns of a name in a message."""

_LOGGED = {"found": "finding", "attach": "picture"}
"""Names of intents in a message, where the intent itself is not a noun."""


def accepted_message(intent: dict[str, Any], before: TeardownRecord, after: TeardownRecord) -> str:
    """What was logged, in one sentence. ``before`` and ``after`` are the records before and after it."""
    name = intent["intent"]
    line = after.line(str(intent.get("line", "")))
    if name == "remove":
        line = before.line(str(intent["line"]))
    what = f"line {line.id} ({_short(line.description.what)})" if line is not None else ""
    match name:
        case "off":
            known = {each.id for each in before.lines}
            new = next(each for each in after.lines if each.id not in known)
            inserted = " inserted" if new.inserted else " logged"
            same = [each.id for each in before.lines if folded(each.description.what) == folded(new.description.what)]
            twice = f" Line {same[-1]} has the same name." if same and not new.description.places else ""
            return f"Line {new.id}{inserted}: {_short(new.description.what)}.{twice}"
        case "measure":
            place = f", {intent['place']}" if intent.get("place") else ""
            return f"Logged: {intent['name']}{place}: {intent.get('value') or intent.get('answer')}."
        case "skip":
            return f"Skipped: {intent.get('name') or 'every open item'}."
        case "add-check":
            return f"Added to the list: {intent['name']}."
        case "undo":
            gone = [each for each in before.lines if after.line(each.id) is None]
            if gone:
                return f"Undone: line {gone[-1].id} ({_short(gone[-1].description.what)}). The log keeps it."
            return "The last entry is undone. The log keeps it."
        case "put-back":
            return f"Put back: {what}. Take it off again with b."
        case "off-again":
            return f"Off again: {what}."
        case "remove":
            return f"Taken away: {what}. F4 undoes it."
        case "split":
            return f"Split: {what} into {len(intent['into'])} lines."
        case "edit" | "add":
            return f"Corrected: {what}." if name == "edit" else f"Added to {what}: {_short(intent['text'])}."
        case "close":
            return f"Closed. Draft the procedure with: benchflow draft '{after.unit}' -o FILE.yaml"
        case "state" | "note" if not what:
            return f"Logged: {name}."
        case _:
            return f"Logged for {what}: {_LOGGED.get(name, name)}." if what else "Logged."


def _short(name: str) -> str:
    """A name that does not fill the foot of the screen."""
    return cut(name, LONGEST_NAME)
