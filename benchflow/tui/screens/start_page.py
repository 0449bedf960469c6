"""Start of a job on one page: unit, builder, options and initial state, with notice, cautions and parts."""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import ClassVar

from textual.binding import BindingType

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import shown_path
from benchflow.procedure.compiled_cache import Loaded
from benchflow.procedure.figure_sources import source_of_numbers
from benchflow.procedure.model import Procedure
from benchflow.session.controller import SessionController
from benchflow.session.refusal import Refusal
from benchflow.session.shop.register import Shop
from benchflow.tui.draw.operation_panel import draw_cautions
from benchflow.tui.draw.styled_lines import EMPTY, Line, counted, hanging, rule, styled, wrap
from benchflow.tui.model.job_catalog import JobCatalog, close_unused
from benchflow.tui.widgets.compact_form import CompactFormPage
from benchflow.tui.widgets.form_page import FormField, form_keys, person_field

UNKNOWN = "?"


def notice_lines(procedure: Procedure, width: int) -> list[Line]:
    """Return title, cautions, notice, subject and source of a procedure."""
    revision = f", revision {procedure.revision}" if procedure.revision else ""
    lines: list[Line] = [styled(part, "title") for part in wrap(procedure.title + revision, width)]
    lines.extend(draw_cautions(procedure.cautions, width))
    if procedure.notice:
        lines.extend([EMPTY, *_badge("notice", procedure.notice, width)])
    if procedure.subject:
        lines.extend([EMPTY, *(styled(part) for part in wrap(procedure.subject, width))])
    source = source_of_numbers(procedure)
    if source:
        lines.extend([EMPTY, *hanging("Source of the numbers: ", source, width, "faint", "label")])
    return lines


def _badge(signal: str, text: str, width: int) -> list[Line]:
    lead = f" {signal.upper()} "
    indent = " " * (len(lead) + 1)
    out: list[Line] = []
    for index, part in enumerate(wrap(text, width - len(indent))):
        head: Line = ((lead, "notice"), (" ", "text")) if index == 0 else ((indent, "text"),)
        out.append((*head, (part, "strong")))
    return out


def kit_lines(procedure: Procedure, width: int) -> list[Line]:
    """Return the list of parts, consumables and instruments to lay out."""
    out: list[Line] = []
    for kind, label in (("part", "PARTS TO LAY OUT"), ("consumable", "CONSUMABLES")):
        items = [item for item in procedure.kit if item.kind == kind]
        if items:
            out.extend([EMPTY, rule(width, label)])
            for item in items:
                extra = ", ".join(filter(None, (item.quantity, "lot is recorded" if item.lot_required else "")))
                out.extend(hanging("· ", f"{item.title or item.id}{', ' if extra else ''}{extra}", width))
    if procedure.instruments:
        out.extend([EMPTY, rule(width, "INSTRUMENTS")])
        for need in procedure.instruments:
            bounds = [limit.text for limit in (need.covers, need.uncertainty) if limit is not None]
            covers = f", {', uncertainty '.join(bounds)}" if bounds else ""
            out.extend(hanging("· ", f"{need.title or need.id}{covers}", width))
    return out


class StartPage(CompactFormPage, inherit_bindings=False):
    """The form for unit, builder, options, unknown initial states and the folder of the log."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("start the job", scrolls=True)
    title_line = "Start a job"
    form = "start"

    def __init__(self, catalog: JobCatalog, loaded: Loaded, file: str, by: str | None, unit: str | None) -> None:
        assert loaded.procedure is not None  # checked by the catalog
        self.catalog, self.loaded, self.file, self.by, self.unit = catalog, loaded, file, by or "", unit or ""
        self.procedure = loaded.procedure
        self.shop = _shop(catalog)
        super().__init__(None)

    def questions(self) -> Sequence[FormField]:
        return (
            FormField("unit", "Unit (serial or job no.)", value=self.unit),
            person_field(self.shop, "Builder", self.by or self._usual_builder()),
            *(
                FormField(
                    f"option {option.name}",
                    option.ask or option.name,
                    tuple((choice, choice) for choice in option.choices),
                    option.choices[0] if len(option.choices) == 1 else "",
                )
                for option in self.procedure.options
            ),
            *self._initial_states(),
            FormField("folder", "Folder for the log", value=str(self.catalog.folder)),
        )

    def _usual_builder(self) -> str:
        """Return the builder that the register names, else that of the last job on this computer."""
        if self.shop is None:
            return self.catalog.last_builder()
        last = self.catalog.last_builder()
        return self.shop.defaults.by or (last if any(person.name == last for person in self.shop.people) else "")

    @property
    def asks_all_states(self) -> bool:
        """True if the state is asked also where the procedure sets it at the start."""
        return False

    def _initial_states(self) -> Iterable[FormField]:
        for variable in self.procedure.state:
            if variable.start is None or self.asks_all_states:
                known = [(value, variable.words.get(value, value)) for value in variable.values]
                text = variable.ask or f"Initial state: {variable.title or variable.name}"
                yield FormField(f"start {variable.name}", text, (*known, (UNKNOWN, "not known")))

    def intro(self, width: int) -> list[Line]:
        lines = self._earlier_lines(width)
        return [*lines, *notice_lines(self.procedure, width), *kit_lines(self.procedure, width)]

    def missing_text(self, question: FormField) -> str:
        if question.name == "by" and not question.choices:
            return "Enter the name of the builder. It is logged with every entry."
        if question.name == "unit":
            return "Enter the serial or job number of the unit. The log is named after it."
        return super().missing_text(question)

    def action_back(self) -> None:
        self.bench_app.back_or_leave()

    def _earlier_lines(self, width: int) -> list[Line]:
        """Name the earlier logs of the unit."""
        lines: list[Line] = []
        typed = self.fields["unit"].value if "unit" in self.fields else self.unit
        earlier = self.catalog.earlier_logs_of(typed)
        if earlier:
            names = ", ".join(shown_path(each.path.name) for each in earlier[:3]) + (
                ", ..." if len(earlier) > 3 else ""
            )
            lines.extend(
                hanging("", f"{counted(len(earlier), 'earlier log')} of this unit: {names}", width, "attention")
            )
        return lines

    async def submit(self, values: dict[str, str]) -> None:
        controller: SessionController | None = None
        try:
            controller = self.catalog.begin(self.loaded, self.file, values["unit"], Path(values["folder"]).expanduser())
            answer = controller.send(open_intent(values))
        except BenchflowError as error:
            self._show_error(controller, str(error))
            return
        if isinstance(answer, Refusal):
            self._close_refused(controller, answer)
        else:
            self.bench_app.open_bench(controller)

    def _close_refused(self, controller: SessionController, refusal: Refusal) -> None:
        close_unused(controller)
        self.refused(refusal)

    def _show_error(self, controller: SessionController | None, message: str) -> None:
        if controller is not None:
            close_unused(controller)
        self.show_message(*message.splitlines(), role="alarm")
        self.app.bell()


def _shop(catalog: JobCatalog) -> Shop | None:
    """Return the shop, or ``None`` if its file has errors. The controller reports the errors."""
    try:
        return catalog.register().shop()
    except BenchflowError:
        return None


def open_intent(values: dict[str, str]) -> dict[str, object]:
    """Return the ``open`` intent for the answers of the form."""

    def with_prefix(prefix: str) -> dict[str, str]:
        return {name.removeprefix(prefix): value for name, value in values.items() if name.startswith(prefix)}

    start = {name: None if value == UNKNOWN else value for name, value in with_prefix("start ").items()}
    return {
        "intent": "open",
        "by": values["by"] or None,
        "unit": values["unit"],
        "options": with_prefix("option "),
        "start": start,
    }
