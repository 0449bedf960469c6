"""The keys of the teardown screen. A key that is a letter is a command only while a line is selected."""

from textual.binding import Binding, BindingType

from benchflow.tui.widgets.page import letter

TEARDOWN_KEYS: tuple[BindingType, ...] = (
    Binding("enter", "log", "log it", id="teardown.log"),
    Binding("enter", "ask('edit')", "correct", id="teardown.correct"),
    Binding(letter("e"), "ask('edit')", "", id="teardown.edit", show=False),
    Binding(letter("f"), "ask('fate')", "fate", id="teardown.fate"),
    Binding(letter("w"), "ask('found')", "found", id="teardown.found"),
    Binding(letter("m"), "ask('measured')", "measure", id="teardown.measured"),
    Binding(letter("g"), "ask('partner')", "goes with", id="teardown.partner"),
    Binding(letter("a"), "ask('add')", "add", id="teardown.add"),
    Binding(letter("b"), "put_back", "put back", id="teardown.put-back"),
    Binding(letter("b"), "off_again", "off again", id="teardown.off-again"),
    Binding(letter("i"), "insert", "insert after", id="teardown.insert"),
    Binding(letter("o"), "insert_before", "insert before", id="teardown.insert-before", show=False),
    Binding(letter("s"), "ask('split')", "split", id="teardown.split"),
    Binding(letter("x"), "ask('remove')", "take away", id="teardown.remove"),
    Binding(letter("n"), "ask('note')", "note", id="teardown.note"),
    Binding("f7," + letter("p"), "picture", "picture", id="teardown.picture-of-line"),
    Binding("tab", "same_container", "same bag", id="teardown.same-container"),
    Binding("up", "select(-1)", "lines", id="teardown.up", key_display="↑↓"),
    Binding("down", "select(1)", "", id="teardown.down", show=False),
    Binding("pageup", "select(-10)", "", id="teardown.page-up", show=False),
    Binding("pagedown", "select(10)", "", id="teardown.page-down", show=False),
    Binding(letter("t"), "continue_here", "continue here", id="teardown.continue-here"),
    Binding("f4," + letter("u"), "undo", "undo last", id="teardown.undo"),
    Binding("f2", "checklist", "while together", id="teardown.checklist"),
    Binding("f3", "lists", "order, ask", id="teardown.lists"),
    Binding("f7", "picture", "picture", id="teardown.picture"),
    Binding("f8", "folder", "other folder", id="teardown.folder"),
    Binding("f9", "close_teardown", "close", id="teardown.close"),
)
