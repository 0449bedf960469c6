"""Forms for an extension on the torque wrench, for a torque that is not printed, and for another lubricant."""

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import BindingType

from benchflow.session.refusal import Refusal
from benchflow.trade.instruments import is_torque
from benchflow.tui.app.navigation import FigureRequest
from benchflow.tui.draw.styled_lines import EMPTY, Line, styled, wrap
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.model.typed_text import with_own_unit
from benchflow.tui.widgets.form_page import FormField, FormPage, form_keys
from benchflow.tui.widgets.source_form import SOURCE, SourceForm, source_key

NOTHING = "none"


class WrenchPage(FormPage, inherit_bindings=False):
    """The form for an extension on the torque wrench. The extension changes the setting of the wrench."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("save")
    title_line = "Torque wrench"
    form = "wrench"

    def questions(self) -> Sequence[FormField]:
        fields = (
            FormField(
                "extension", "Extension, from the square to the fastener, in mm (empty: no extension)", keep=False
            ),
            FormField("lever", "Lever, from the square to the middle of the grip, in mm", keep=False),
            FormField("angle", "Angle between them, in ° (empty: in line)", keep=False),
        )
        shop = None if self.client is None else self.client.shop()
        wrenches = [] if shop is None else [one for one in shop.instruments if is_torque(one.kind)]
        if len(wrenches) < 2:
            return fields
        return (*fields, FormField("instrument", "Wrench, serial number (empty: the one in use)", keep=False))

    def intro(self, width: int) -> list[Line]:
        text = (
            "With an extension, such as a crowfoot, the wrench is set lower than the required torque. The bench shows "
            "the setting for every stage."
        )
        return [EMPTY, *(styled(part) for part in wrap(text, width))]

    async def submit(self, values: dict[str, str]) -> None:
        if not values["extension"]:
            await self.send("Wrench without extension.", "wrench", extension=NOTHING)
            return
        fields = {"extension": with_own_unit(values["extension"], "mm")}
        if values["lever"]:
            fields["lever"] = with_own_unit(values["lever"], "mm")
        if values["angle"]:
            fields["angle"] = with_own_unit(values["angle"], "°")
        if values.get("instrument"):
            fields["instrument"] = values["instrument"]
        await self.send("Wrench with extension. Use the wrench setting that is shown.", "wrench", **fields)


class FigurePage(SourceForm, inherit_bindings=False):
    """The form for a figure that the procedure asks for, with its source. It proposes no figure.

    What is typed is kept as a draft of this figure.
    """

    BINDINGS: ClassVar[list[BindingType]] = [source_key("figure"), *form_keys("save")]
    title_line = "Figure"

    def __init__(self, client: SessionClient, request: FigureRequest) -> None:
        self.request = request
        asked = self.asked = request.asked
        self.named_source = asked.source
        self.form = f"figure {asked.key} {' '.join(f'{key}={asked.fields[key]}' for key in sorted(asked.fields))}"
        super().__init__(client)

    def questions(self) -> Sequence[FormField]:
        return (FormField("value", self.asked.question), FormField(SOURCE, "Source: document, edition, page"))

    def intro(self, width: int) -> list[Line]:
        text = "The procedure does not have this figure. Take it from the source, not from memory."
        lines = [EMPTY, *(styled(part, "title") for part in wrap(self.asked.title, width))]
        return [*lines, *(styled(part) for part in wrap(text, width)), *self.source_lines(width)]

    def refused(self, refusal: Refusal) -> None:
        """Show the reasons, and select the figure unless its source was refused."""
        if not any(reason.name == SOURCE for reason in refusal.refused):
            self.at = 0
        super().refused(refusal)

    async def submit(self, values: dict[str, str]) -> None:
        assert self.client is not None  # it is a form of an open job
        if self.lacks_reason(values[SOURCE]) or self.lacks_page(self.source_in(values)):
            return
        given = f"Given: {values['value']}."
        now, starts = self.client.view.now, self.request.starts
        if starts and (now is None or not now.in_progress):
            answer = await self.client.send("start", operation=starts)
            if isinstance(answer, Refusal):
                self.refused(answer)
                return
            given = f"Started. {given}"
        fields: dict[str, object] = {
            **self.asked.fields,
            self.asked.key: values["value"],
            SOURCE: self.source_in(values),
        }
        if self.waits_for_warnings("figure", fields):
            return
        await self.send(given, "figure", **fields)


class LubricantPage(FormPage, inherit_bindings=False):
    """The form for another lubricant on the threads. It changes the preload at the same torque."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("save")
    title_line = "Lubricant"
    form = "lubricant"

    def __init__(self, client: SessionClient, joint: str, title: str) -> None:
        self.joint, self.joint_title = joint, title
        super().__init__(client)

    def questions(self) -> Sequence[FormField]:
        return (
            FormField("lubricant", "Lubricant on the threads and under the heads", keep=False),
            FormField("nut-factor", "Nut factor (optional)", keep=False),
        )

    def intro(self, width: int) -> list[Line]:
        return [EMPTY, styled(self.joint_title, "title")]

    async def submit(self, values: dict[str, str]) -> None:
        fields = {"nut-factor": values["nut-factor"]} if values["nut-factor"] else {}
        await self.send(
            f"Lubricant: {values['lubricant']}.",
            "lubricant",
            joint=self.joint,
            lubricant=values["lubricant"],
            **fields,
        )
