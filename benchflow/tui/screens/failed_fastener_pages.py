"""Forms for a fastener that failed, and for its repair."""

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import BindingType

from benchflow.base.errors import BenchflowError
from benchflow.quantity import parse_quantity
from benchflow.session.rules.failed_fasteners import FAILURE_TEXT
from benchflow.session.view.bench_view import TightenInput
from benchflow.tui.draw.styled_lines import EMPTY, Line, hanging, styled, wrap
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.model.typed_text import with_own_unit
from benchflow.tui.widgets.compact_form import CompactFormPage
from benchflow.tui.widgets.form_page import FormField, form_keys

OTHER = "other"
REPAIRS = ("Thread insert fitted", "New stud fitted", "New bolt fitted")


def joint_in_view(client: SessionClient, joint: str) -> TightenInput | None:
    """Return the joint on the bench; ``None`` if the operation in progress has no such joint."""
    inputs = () if client.view.now is None else client.view.now.inputs
    return next((each for each in inputs if isinstance(each, TightenInput) and each.joint == joint), None)


class FailedFastenerPage(CompactFormPage, inherit_bindings=False):
    """The form for a fastener that stripped, broke or turns without getting tighter. It stops the joint."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("stop the joint")
    title_line = "A fastener failed"
    form = "fastener-failed"

    def __init__(self, client: SessionClient, joint: str, title: str, fastener: int | None) -> None:
        self.joint, self.joint_title, self.fastener = joint, title, fastener
        given = joint_in_view(client, joint)
        self.progress = "" if given is None else given.progress
        self.unit = "" if given is None else _unit_of_stage(given)
        super().__init__(client)

    def questions(self) -> Sequence[FormField]:
        number = "" if self.fastener is None else str(self.fastener)
        unit = f", in {self.unit} or another unit" if self.unit else ""
        return (
            FormField("fastener", "No. of the fastener", value=number, keep=False, offered=bool(number)),
            FormField("what", "What happened?", tuple(FAILURE_TEXT.items())),
            FormField("value", f"At what torque or angle{unit}? (empty: not known)", keep=False, optional=True),
        )

    def intro(self, width: int) -> list[Line]:
        text = (
            "The joint stops here. Then repair the fastener and tighten the whole joint again, or sign a deviation (d)."
        )
        return [
            EMPTY,
            *(styled(part, "title") for part in wrap(self.joint_title, width)),
            *(styled(part) for part in wrap(self.progress, width)),
            *(styled(part) for part in wrap(text, width)),
        ]

    async def submit(self, values: dict[str, str]) -> None:
        what = next(text for name, text in FAILURE_TEXT.items() if name == values["what"])
        reached = {"value": with_own_unit(values["value"], self.unit)} if values["value"] else {}
        await self.send(
            f"No. {values['fastener']}: {what}. The joint is stopped.",
            "fastener-failed",
            joint=self.joint,
            fastener=values["fastener"],
            what=values["what"],
            **reached,
        )


def _unit_of_stage(joint: TightenInput) -> str:
    """The unit of the current stage, empty if the stage has no figure."""
    stage = joint.stages[min(joint.stage, len(joint.stages)) - 1] if joint.stages else ""
    try:
        return parse_quantity(stage.removeprefix("+")).unit
    except BenchflowError:
        return ""


class RepairPage(CompactFormPage, inherit_bindings=False):
    """The form for the repair of a failed fastener. After it, the joint is begun again."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("repaired, begin the joint again")
    title_line = "Repair of a fastener"
    form = "repair"

    def __init__(self, client: SessionClient, joint: str, title: str, fastener: int) -> None:
        self.joint, self.joint_title, self.fastener = joint, title, fastener
        given = joint_in_view(client, joint)
        self.stopped = "" if given is None else given.stopped
        super().__init__(client)

    def questions(self) -> Sequence[FormField]:
        choices = (*((text, text) for text in REPAIRS), (OTHER, "another repair"))
        return (
            FormField("repair", "What was done?", choices),
            FormField("details", "Size, part, or the other repair", keep=False, optional=True),
        )

    def intro(self, width: int) -> list[Line]:
        text = "After the repair, all ticks of the joint are void. It is tightened again from the first stage."
        return [
            EMPTY,
            *(styled(part, "title") for part in wrap(f"{self.joint_title}, no. {self.fastener}", width)),
            *(hanging("× ", self.stopped, width, "attention") if self.stopped else []),
            *(styled(part) for part in wrap(text, width)),
        ]

    async def submit(self, values: dict[str, str]) -> None:
        chosen = "" if values["repair"] == OTHER else values["repair"]
        repair = ": ".join(filter(None, (chosen, values["details"])))
        if not repair:
            self.show_message("Enter what was done to the fastener.", role="attention")
            return
        message = f"No. {self.fastener} repaired. Begin the joint again."
        await self.send(message, "repair", joint=self.joint, fastener=self.fastener, repair=repair)
