"""The state that entries lead to, before they are logged."""

from collections.abc import Iterable

import msgspec

from benchflow.session.context import Context, Entry
from benchflow.session.log.line_format import Line
from benchflow.session.state.state import State


def state_after(state: State, entries: Iterable[Entry], context: Context) -> State:
    """The state after ``entries``."""
    from benchflow.session.state.fold import fold

    for entry in entries:
        data = msgspec.to_builtins(entry.event)
        kind = data.pop("kind")
        state = fold(state, Line(state.seq + 1, context.now.at, entry.by, kind, data, "", ""))
    return state
