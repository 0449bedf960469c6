"""The form to continue a job with another register than the one it was started with."""

from collections.abc import Sequence
from pathlib import Path
from typing import ClassVar

from textual.binding import BindingType

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line
from benchflow.session.job_register import OtherRegister
from benchflow.tui.draw.styled_lines import EMPTY, Line, styled, wrap
from benchflow.tui.model.job_catalog import JobCatalog
from benchflow.tui.widgets.form_page import FormField, FormPage, form_keys


class OtherRegisterPage(FormPage, inherit_bindings=False):
    """The form for the reason. Without a reason the job is not opened."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("continue the job")
    title_line = "Another register"
    form = "other-register"

    def __init__(self, catalog: JobCatalog, log: Path, by: str, error: OtherRegister) -> None:
        self.catalog, self.log_path, self.by, self.error = catalog, log, by, error
        super().__init__(None)

    def questions(self) -> Sequence[FormField]:
        return (FormField("reason", "Why does the job go on with another register?"),)

    def intro(self, width: int) -> list[Line]:
        texts = (
            f"This job was started with the register {self.error.wanted}. This computer has {self.error.found}.",
            "The register says who may sign. Press Esc and put the register of the job in its place, or give the "
            "reason to continue all the same. The reason is logged and printed on the build sheet.",
        )
        return [EMPTY, *(line for text in texts for line in (*(styled(part) for part in wrap(text, width)), EMPTY))]

    async def submit(self, values: dict[str, str]) -> None:
        reason = clean_line(values["reason"])
        if not reason:
            self.show_message("Give the reason, or press Esc to go back.", role="attention")
            return
        try:
            self.bench_app.open_bench(self.catalog.resume(self.log_path, reason), self.by)
        except BenchflowError as error:
            self.show_message(*str(error).splitlines(), role="alarm")
            self.app.bell()
