"""The state that entries lead to, before they are logged."""

from collections.abc import Iterable

from benchflow.session.context import Context, Entry
from benchflow.session.log.line_format import Line
from benchflow.session.state.event_basics import logged_fields
from benchflow.session.state.state import State


def state_after(state: State, entries: Iterable[Entry], context: Context) -> State:
    """The state after ``entries``."""
    from benchflow.session.state.fold import fold

    for entry in entries:
        kind = str(entry.event.__struct_config__.tag)
        state = fold(state, Line(state.seq + 1, context.now.at, entry.by, kind, logged_fields(entry.event), "", ""))
    return state
