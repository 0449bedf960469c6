"""Start of a job that continues another log: what that log says, then the form with the state asked again."""

from collections.abc import Sequence
from pathlib import Path
from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line
from benchflow.session.continuation import LogToContinue
from benchflow.session.controller import SessionController
from benchflow.session.refusal import Refusal
from benchflow.tui.app.navigation import TakeOverRequest
from benchflow.tui.draw.styled_lines import EMPTY, Line, counted, hanging, styled, wrap
from benchflow.tui.model.job_catalog import JobCatalog
from benchflow.tui.screens.start_page import StartPage, open_intent
from benchflow.tui.widgets.form_page import FormField, form_keys
from benchflow.tui.widgets.list_page import leaving_keys
from benchflow.tui.widgets.page import TextPage


class ContinuePage(TextPage[None], inherit_bindings=False):
    """What is known from the log that the job continues."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter,space", "continue", "continue", id="continue.continue"),
        *TextPage.BINDINGS,
        *leaving_keys(),
    ]
    title_line = "Continue from an earlier log"

    def __init__(self, catalog: JobCatalog, old: LogToContinue, by: str | None, unit: str | None) -> None:
        super().__init__()
        self.catalog, self.old, self.by, self.unit = catalog, old, by, unit

    def text(self, width: int) -> list[Line]:
        lines = [EMPTY, styled(clean_line(self.old.continues.unit) or self.old.continues.file, "title"), EMPTY]
        for text in _facts(self.old):
            lines.extend([*(styled(part) for part in wrap(text, width)), EMPTY])
        titles = _titles(self.old)
        for name, text in (("Done: ", titles[0]), ("Not trusted: ", titles[1])):
            if text:
                lines.extend([*hanging(name, text, width, "text", "label"), EMPTY])
        return lines

    def action_continue(self) -> None:
        self.app.push_screen(ContinuedStartPage(self.catalog, self.old, self.by, self.unit))

    def action_back(self) -> None:
        self.bench_app.back_or_leave()


def _facts(old: LogToContinue) -> list[str]:
    log = old.continues
    trusted = sum(each.trusted for each in log.done)
    doubtful = len(log.done) - trusted
    if log.damage:
        first = f"{log.file} is damaged: line {log.line} {log.damage}. It is kept as it is."
    else:
        first = f"{log.file} is whole and open. Continue it itself if you can."
    facts = [first, f"Up to log line {log.events} it says that {counted(trusted, 'operation')} were done."]
    if doubtful:
        facts.append(
            f"After the damage it says the same of {doubtful} more. These lines are not trusted: look at the engine, "
            "and take over each of them with a reason."
        )
    facts.append(
        "A new log begins now. First look at the engine and enter the state that it is in. Then take over what was "
        "done, one operation after the other. Each is signed. What you do not take over has to be done again."
    )
    return facts


def _titles(old: LogToContinue) -> tuple[str, str]:
    """The operations done by the good part, and those only after the damage."""
    procedure = old.source.procedure
    assert procedure is not None  # checked by the catalog
    done, doubtful = (
        ", ".join(each.operation for each in old.continues.done if each.trusted == trusted) for trusted in (True, False)
    )
    return done, doubtful


class ContinuedStartPage(StartPage, inherit_bindings=False):
    """The form of a continued job. It asks for the state of every variable."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("start the job", scrolls=True)
    title_line = "Continue in a new log"
    form = "continue"

    def __init__(self, catalog: JobCatalog, old: LogToContinue, by: str | None, unit: str | None) -> None:
        self.old = old
        super().__init__(catalog, old.source, old.procedure_file, by, old.continues.unit or unit)

    def questions(self) -> Sequence[FormField]:
        known = self.old.continues
        given = {"unit"} if known.unit else set()
        given |= {f"option {name}" for name in known.options}
        asked = [question for question in super().questions() if question.name not in given]
        if not known.damage:
            asked.insert(1, FormField("reason", "Why is the earlier log not continued itself?"))
        return asked

    @property
    def asks_all_states(self) -> bool:
        return True

    async def submit(self, values: dict[str, str]) -> None:
        controller: SessionController | None = None
        try:
            folder = Path(values["folder"]).expanduser()
            controller = self.catalog.begin_continued(self.old, values.get("unit", self.unit), folder)
            intent = open_intent({"unit": "", **values})
            answer = controller.send({**intent, "reason": values.get("reason", "")})
        except BenchflowError as error:
            self._show_error(controller, str(error))
            return
        if isinstance(answer, Refusal):
            self._close_refused(controller, answer)
            return
        self.bench_app.open_bench(controller)
        self.app.call_later(self._ask_what_to_take_over)

    def _ask_what_to_take_over(self) -> None:
        client = self.bench_app.client
        if client is not None and client.to_take_over:
            self.bench_app.open(TakeOverRequest())
