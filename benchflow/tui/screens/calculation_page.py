"""Calculations at the bench, each with formula, numbers and source. A result can be put into the field."""

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widgets import Input

from benchflow.trade.calculations.inputs import Calculation, CalculationErrors, QuantityInput, RangeInput, WordInput
from benchflow.trade.calculations.result import CalculationResult
from benchflow.trade.calculations.table import CALCULATIONS, calculate
from benchflow.tui.draw.operation_panel import draw_cautions
from benchflow.tui.draw.styled_lines import EMPTY, Line, hanging, styled, wrap
from benchflow.tui.widgets.form_page import FormField, FormPage, form_keys
from benchflow.tui.widgets.list_page import ListPage, leaving_keys, list_keys


class CalculationListPage(ListPage[str], inherit_bindings=False):
    """The list of calculations. Its result is text for the field on the bench."""

    BINDINGS: ClassVar[list[BindingType]] = [*list_keys("open"), *leaving_keys()]
    title_line = "Calculations"

    def __init__(self, takes_result: bool) -> None:
        super().__init__()
        self.takes_result = takes_result
        self.specs = list(CALCULATIONS.values())

    def count(self) -> int:
        return len(self.specs)

    def intro(self, width: int) -> list[Line]:
        return [EMPTY]

    def row(self, index: int, width: int) -> Line:
        return ((self.specs[index].title, "text"),)

    def details(self, width: int) -> list[Line]:
        return hanging("Source: ", self.specs[self.at].source, width, "faint")

    def open_selected(self) -> None:
        self.app.push_screen(CalculationPage(self.specs[self.at], self.takes_result), self._use_result)

    def _use_result(self, result: str | None) -> None:
        if result:
            self.dismiss(result)


class CalculationPage(FormPage, inherit_bindings=False):
    """One calculation, updated while the values are typed. Nothing is logged before the result is recorded."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "use_result", "put into the field", id="calculation.use-result"),
        *form_keys("calculate"),
    ]
    form = "calculation"

    def __init__(self, spec: Calculation, takes_result: bool) -> None:
        self.spec = spec
        self.takes_result = takes_result
        self.result: CalculationResult | None = None
        self.errors: CalculationErrors | None = None
        self.title_line = spec.title
        super().__init__(None)

    def questions(self) -> Sequence[FormField]:
        form_fields = []
        for field in self.spec.fields:
            unit = field.kind.unit if isinstance(field.kind, QuantityInput | RangeInput) else None
            hint = _unit_and_example(unit or "", field.example)
            optional = " (optional)" if field.optional else ""
            choices = tuple((each, each) for each in field.kind.choices) if isinstance(field.kind, WordInput) else ()
            form_fields.append(FormField(field.name, f"{field.ask}{hint}{optional}", choices))
        return form_fields

    def intro(self, width: int) -> list[Line]:
        lines: list[Line] = [EMPTY]
        if self.result is not None:
            for index, each in enumerate(self.result.lines):
                lines.append(((f"{each.title}: ", "text"), (each.shown, "strong")))
                lines.extend(styled("  " + part, "faint") for part in wrap(each.filled, width - 2))
                if index == 0:  # so that they are visible on a small screen, with the result that goes into the field
                    lines.extend(draw_cautions(self.result.cautions, width)[1:])
            for note in self.result.notes:
                lines.extend(hanging("· ", note, width))
        elif self.errors is not None:
            for error in self.errors.errors:
                lines.extend(hanging("× ", str(error), width, "blocked"))
        else:
            lines.append(styled("The result is shown here when all values are entered.", "faint"))
        return [*lines, *hanging("Source: ", self.spec.source, width, "faint")]

    def typed(self, field: Input) -> None:
        self._calculate(quiet=True)

    def action_pick(self, by: int) -> None:
        super().action_pick(by)
        self._calculate(quiet=True)
        self.redraw()

    def _calculate(self, quiet: bool) -> None:
        """Calculate. ``quiet`` hides errors, because a missing value is not an error while typing."""
        texts = {name: field.value for name, field in self.fields.items()} | self.picked
        self.result = self.errors = None
        try:
            self.result = calculate(self.spec.name, texts, use_field_units=True)
        except CalculationErrors as error:
            self.errors = None if quiet else error

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "use_result":
            return self.result is not None and self.takes_result and self.at >= len(self.form_fields) - 1
        return super().check_action(action, parameters)

    def action_use_result(self) -> None:
        assert self.result is not None  # the key is active only with a result
        self.dismiss(self.result.lines[0].shown)

    async def submit(self, values: dict[str, str]) -> None:
        self._calculate(quiet=False)
        self.redraw()


def _unit_and_example(unit: str, example: str) -> str:
    """Return a hint such as ``, in N·m or with a unit, such as 300 in-lb``. Parts that are not given are left out."""
    with_unit = "" if not unit else f", in {unit}"
    if not example:
        return with_unit
    other_unit = " or with a unit" if unit and not example.endswith(unit) else ""
    return f"{with_unit}{other_unit}, such as {example}"
