"""A form with one row for each question, so that it fits on one screen with its text."""

from typing import ClassVar

from textual.binding import BindingType

from benchflow.tui.draw.block_parts import FieldPlace
from benchflow.tui.draw.styled_lines import EMPTY, Line, Role, Span, cell_count, counted, side_by_side, styled, wrap
from benchflow.tui.widgets.form_page import FormField, FormPage, form_keys
from benchflow.tui.widgets.page import DrawnPage, scrolled_lines

WIDE = 110
"""From this many columns on, the text is beside the form."""

LABEL_WIDTH = 30
LEAST_TEXT_ROWS = 4


class CompactFormPage(FormPage, inherit_bindings=False):
    """A form whose questions need an answer. Enter goes to the next open question, and submits after the last one.

    ``intro`` is the text: above the form, or beside it on a wide screen.
    """

    BINDINGS: ClassVar[list[BindingType]] = form_keys("submit", scrolls=True)

    # --- drawing ------------------------------------------------------------------------------

    def body(self, width: int, height: int) -> DrawnPage:
        if width >= WIDE:
            left = width // 2
            form, places = self._form(left, height - 1)
            text = self._text(width - left - 3, height - 1)
            lines = side_by_side(form, text, left, 3, width, height - 1)
            return self._placed([EMPTY, *lines], places, 1)
        text_height = len(self.intro(width))
        form, places = self._form(width, max(height - 1 - min(text_height, LEAST_TEXT_ROWS), 3))
        text = self._text(width, height - 1 - len(form))
        return self._placed([*text, EMPTY, *form], places, len(text) + 1)

    def _text(self, width: int, height: int) -> list[Line]:
        lines = self.intro(width)
        self.scrolled = min(self.scrolled, max(len(lines) - height + 1, 0))
        return scrolled_lines(lines, self.scrolled, height)

    def _placed(self, lines: list[Line], places: list[FieldPlace | None], shift: int) -> DrawnPage:
        self._owners = {y + shift: owner for y, owner in self._owners.items()}
        return DrawnPage(
            tuple(lines), tuple(place and FieldPlace(place.x, place.y + shift, place.width) for place in places)
        )

    def _form(self, width: int, height: int) -> tuple[list[Line], list[FieldPlace | None]]:
        """Draw the questions in at most ``height`` rows: all of them, or those around the current one."""
        longest = max((cell_count(question.label) for question in self.form_fields), default=0)
        labels = min(longest + 3, LABEL_WIDTH, width // 2)
        lines: list[Line] = []
        places: list[int | None] = []
        owners: list[int] = []
        current = (0, 0)
        for index, question in enumerate(self.form_fields):
            rows = self._question_rows(question, index == self.at, labels, width)
            if index == self.at:
                current = (len(lines), len(lines) + len(rows))
            if not question.choices:
                places.append(len(lines))
            lines += rows
            owners += [index] * len(rows)
        first, last = 0, len(lines)
        below: list[Line] = []
        if len(lines) > height:
            first = max(0, min(current[0], current[1] - height + 1))
            last = first + height - 1
            left = len(lines) - last
            below = [styled(f"  ▼ {counted(left, 'more line')} (↓)", "attention") if left > 0 else EMPTY]
        # A click on a row of the screen: the title is above the first row of the body.
        self._owners = {y - first + 1: (owner, "") for y, owner in enumerate(owners) if first <= y < last}
        field_width = max(width - labels - 3, 8)
        shown = [
            FieldPlace(labels + 1, y - first, field_width) if y is not None and first <= y < last else None
            for y in places
        ]
        return [*lines[first:last], *below], shown

    def _question_rows(self, question: FormField, selected: bool, labels: int, width: int) -> list[Line]:
        role: Role = "strong" if selected else "text"
        names = wrap(question.label, labels - 3)
        if question.choices:
            values = self._choice_rows(question, width - labels)
        else:
            field = (" " * max(width - labels - 3, 8), "field")
            values = [(("[", "strong"), field, ("]", "strong"))]  # type: ignore[list-item]  # "field" is a role
        out: list[Line] = []
        for y in range(max(len(names), len(values))):
            mark = "► " if selected and y == 0 else "  "
            name = names[y] if y < len(names) else ""
            padded = name + " " * max(labels - 2 - cell_count(name), 0)
            out.append(((mark, "now"), (padded, role), *(values[y] if y < len(values) else ())))
        return out

    def _choice_rows(self, question: FormField, width: int) -> list[Line]:
        """Draw the choices beside each other, in as many rows as they need. A long one is wrapped."""
        rows: list[list[Span]] = [[]]
        used = 0
        for value, label in question.choices:
            taken = self.picked.get(question.name) == value
            role: Role = "strong" if taken else "text"
            first, *more = wrap(label, width - 2)
            cell = f"{'●' if taken else '○'} {first}"
            if rows[-1] and used + 2 + cell_count(cell) > width:
                rows.append([])
                used = 0
            gap = "  " if rows[-1] else ""
            used += len(gap) + cell_count(cell)
            rows[-1] += [(gap, "text"), (cell, role)]
            if more:
                rows += [[("  ", "text"), (part, role)] for part in more]
                used = width  # the next choice begins a new row
        return [tuple(row) for row in rows]

    # --- keys -----------------------------------------------------------------------------------

    def clicked(self, row: int) -> None:
        """Select the clicked question. A click on the selected one takes its next choice."""
        index, _ = self._owners.get(row, (-1, ""))
        if index < 0:
            return
        if index == self.at and self.form_fields[index].choices:
            self.action_pick(1)
        self.at = index
        self._focus_current()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action in ("next", "submit"):
            # Enter goes to the next question while any question is open
            waits = not self._is_answered(self.at) or self._next_index(self.at) is not None
            return waits if action == "next" else not waits
        return super().check_action(action, parameters)

    def _is_answered(self, index: int) -> bool:
        """True if the question has an answer or needs none."""
        question = self.form_fields[index]
        return question.optional or self._has_text(question)

    def _has_text(self, question: FormField) -> bool:
        if question.choices:
            return bool(self.picked[question.name])
        field = self.fields.get(question.name)
        return bool((question.value if field is None else field.value).strip())

    def _next_index(self, after: int) -> int | None:
        """Return the index of the next question that waits for its answer, ``None`` if there is none.

        An optional question waits only until Enter has passed it.
        """
        below = range(after + 1, len(self.form_fields))
        found = next((index for index in below if not self._has_text(self.form_fields[index])), None)
        if found is not None:
            return found
        return next((index for index in range(after + 1) if not self._is_answered(index)), None)

    def missing_text(self, question: FormField) -> str:
        """Return the message for a question that has no answer when Enter is pressed."""
        if question.choices:
            return "Choose an answer with ← and →."
        return f"Enter this first: {question.label.rstrip('.?')}."

    def action_next(self) -> None:
        if not self._is_answered(self.at):
            self.show_message(self.missing_text(self.form_fields[self.at]), role="attention")
            return
        self.show_message()
        super().action_next()
