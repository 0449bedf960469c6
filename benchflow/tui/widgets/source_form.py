"""The question for the source of a figure. A key enters the documents of the procedure, one after the other."""

from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.session.view.offered_sources import (
    BY_OWN_CHOICE,
    OfferedSource,
    lacks_page,
    last_document,
    offered_in,
    offered_sources,
    source_remark,
    with_offered,
)
from benchflow.tui.draw.styled_lines import EMPTY, Line, Role, cell_count, hanging, styled
from benchflow.tui.widgets.compact_form import CompactFormPage

SOURCE = "from"
"""The name of the question, which is that of the field of the intent."""

_TAKEN: tuple[str, Role] = ("  ► ", "strong")
_OTHER: tuple[str, Role] = ("    ", "text")
NO_REASON = "Type the reason after “own choice, because”."


def source_key(form: str) -> Binding:
    """Return the key that puts in the next document. ``form`` is the first part of its id."""
    return Binding("f2", "next_source", "document", id=f"{form}.source")


class SourceForm(CompactFormPage, inherit_bindings=False):
    """A form with the question :data:`SOURCE`. A subclass has :func:`source_key`, and shows :meth:`source_lines`."""

    BINDINGS: ClassVar[list[BindingType]] = []
    _warned = ""  # the intent that was warned about
    _without_page = ""  # the source whose page was asked for
    named_source = ""
    """The place of the figure as the author gives it. The key puts it in first."""

    def _offered(self) -> tuple[OfferedSource, ...]:
        assert self.client is not None  # it is a form of an open job
        return offered_sources(self.client.state.plan.procedure, self.named_source)

    def source_lines(self, width: int) -> list[Line]:
        """Draw the documents of the procedure, with a mark at the one in the field, and a remark about the text."""
        assert self.client is not None  # it is a form of an open job
        procedure = self.client.state.plan.procedure
        offered, typed = self._offered(), self.fields[SOURCE].value if SOURCE in self.fields else ""
        taken, ids = (
            offered_in(typed, offered),
            max((cell_count(one.words) for one in offered if one.meaning), default=0),
        )
        lines = [EMPTY, styled("Sources (F2 takes the next one):", "label")]
        for one in offered:
            mark, role = _TAKEN if one == taken else _OTHER
            if one.meaning:
                lines.extend(hanging(f"{mark}{one.words.ljust(ids)}  ", one.meaning, width, "text", role))
            else:
                lines.append(styled(f"{mark}{one.words} ...", role))
        remark = source_remark(typed, procedure) if typed.strip() else ""
        return [*lines, *(hanging("! ", remark, width, "attention") if remark else [])]

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "next_source":
            return any(question.name == SOURCE for question in self.form_fields)
        return super().check_action(action, parameters)

    def action_next_source(self) -> None:
        """Put the next document into the source: at first that of the figure given before."""
        assert self.client is not None  # it is a form of an open job
        field = self.fields[SOURCE]
        offered = self._offered()
        now, usual = offered_in(field.value, offered), self.named_source or last_document(self.client.state)
        after = next((one for one in offered if one.words == usual), offered[0])
        chosen = after if now is None else offered[(offered.index(now) + 1) % len(offered)]
        field.value = with_offered(field.value, chosen, offered)
        field.cursor_position = len(field.value)
        self.at = next(index for index, question in enumerate(self.form_fields) if question.name == SOURCE)
        self._focus_current()

    def waits_for_warnings(self, intent: str, fields: dict[str, object]) -> bool:
        """True if the figure has warnings that were not shown yet. Shows them: Enter again sends the figure.

        A bounce of the first Enter does not count as the second.
        """
        assert self.client is not None  # it is a form of an open job
        from benchflow.session.figure_preview import figure_warnings  # late: not needed for the first paint

        message = {"intent": intent, **{name: value for name, value in fields.items() if value is not None}}
        warnings = figure_warnings(self.client.state, self.client.context(), message)
        if not warnings:
            return False
        if self._warned == repr(fields):
            return self._refused_bounce()
        self._warned = repr(fields)
        self.show_message(*warnings, "If the source says so, press Enter again.", role="alarm")
        self.app.bell()
        return True

    def lacks_page(self, source: str) -> bool:
        """True if the source is a document alone, and its page was not asked for yet. Asks: Enter again accepts it.

        A bounce of the first Enter does not count as the second.
        """
        assert self.client is not None  # it is a form of an open job
        document = lacks_page(source, self.client.state)
        if not document:
            return False
        if self._without_page == source:
            return self._refused_bounce()
        self._without_page = source
        self.at = next(index for index, question in enumerate(self.form_fields) if question.name == SOURCE)
        self._focus_current()
        self.show_message(f"On which page of {document}? Type it. If it has none, press Enter again.")
        return True

    def source_in(self, values: dict[str, str]) -> str:
        """The typed source with single blanks."""
        return " ".join(values[SOURCE].split())

    def lacks_reason(self, source: str) -> bool:
        """True if the source is an own choice without a reason. Says so, and selects the question."""
        if source.rstrip(" ,.").casefold() not in (BY_OWN_CHOICE.words, "own choice"):
            return False
        self.at = next(index for index, question in enumerate(self.form_fields) if question.name == SOURCE)
        self._focus_current()
        self.show_message(NO_REASON, role="attention")
        return True
