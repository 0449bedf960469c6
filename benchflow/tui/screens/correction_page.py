"""Correction of an entry. The old entry stays in the log, and the correction refers to it."""

from collections.abc import Iterator, Sequence
from typing import ClassVar

from msgspec import Struct
from textual.binding import BindingType

from benchflow.procedure.model import CheckStage
from benchflow.procedure.plan import Step
from benchflow.session.rules.check_readings import ANSWERS
from benchflow.session.rules.check_stages import band_in_force, readings_of
from benchflow.session.rules.correction_signatures import roles_for_corrections
from benchflow.session.rules.joint_progress import joint_of
from benchflow.session.rules.measurements import from_stored
from benchflow.session.rules.stage_torques import tighten_in_force
from benchflow.session.state.state import State, Tick
from benchflow.session.view.bench_view import ReadingInput
from benchflow.session.view.reading_text import reading_text
from benchflow.tui.draw.styled_lines import EMPTY, Line, cut, styled, wrap
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.model.typed_text import with_own_unit
from benchflow.tui.widgets.form_page import FormField, FormPage, form_keys, signature_fields
from benchflow.tui.widgets.list_page import ListPage, leaving_keys, list_keys

_SIGNED = "A correction that makes good what is out of its limit needs the signature that a deviation needs."


class LoggedEntry(Struct, frozen=True):
    """A reading, a tick or a lot that can be corrected. ``seq`` is the number of its event in the log.

    ``unit`` is empty if the unit has to be typed. ``limit`` is the band of a tick. ``stretch_unit`` is set for a tick
    with torque and stretch, which are corrected together.
    """

    seq: int
    step: str
    name: str
    operation: str
    what: str
    shown: str
    unit: str
    limit: str = ""
    stretch_unit: str = ""


def correctable(state: State) -> Iterator[LoggedEntry]:
    """Return the entries that can be corrected, the latest first."""
    for seq, entry in sorted(state.correctable.items(), reverse=True):
        step_id, name, slot = entry.operation, entry.name, entry.reading
        step, work = state.plan.steps[step_id], state.work(step_id)
        title = f"{state.plan.number(step_id)} {step.title}"
        if entry.kind == "lot":
            lot = work.lots.get(name)
            if lot is not None:
                yield LoggedEntry(seq, step_id, name, title, f"lot of {name}", lot, "")
            continue
        if entry.kind == "figure":
            given = work.figures.get(int(slot))
            if given is not None and given.seq == seq:
                what = f"torque of stage {slot} of {name} (source: {given.source})"
                yield LoggedEntry(seq, step_id, name, title, what, given.figure, "")
            continue
        if entry.kind == "check":
            number = next((number for number, answer in work.failed.items() if answer == seq), None)
            if number is not None:
                what = f"check {number}: {step.operation.check[number - 1].text}"
                yield LoggedEntry(seq, step_id, name, title, what, "no", "", 'the only other answer is "yes"')
            continue
        if entry.kind == "tick":
            tick = work.tick(seq)
            if tick is not None:
                yield _logged_tick(state, step, tick, title)
            continue
        attempts, record = work.readings.get(name, {}).get(slot, ()), step.record(name)
        if attempts and attempts[-1].seq == seq and record is not None:
            which = f", {slot}" if len(record.slots) > 1 else ""
            quantity = from_stored(attempts[-1].quantity)
            yield LoggedEntry(
                seq, step_id, name, title, f"{record.ask or name}{which}", reading_text(quantity), record.unit
            )


def _logged_tick(state: State, step: Step, tick: Tick, title: str) -> LoggedEntry:
    tighten = tighten_in_force(state, step)
    assert tighten is not None  # the operation has a tick
    joint, stage = joint_of(state, tighten.joint), tighten.stages[tick.stage - 1]
    band, read = band_in_force(joint, tighten, stage), readings_of(tick)
    what = f"no. {tick.fastener} of {joint.title or joint.id}, stage {tick.stage}"
    shown = " and ".join(
        [*([read.answer] if read.answer else [])]
        + [reading_text(one) for one in (read.value, read.stretch) if one is not None]
    )
    limit = "" if band is None else band.shown
    stretch = stage.stretch if isinstance(stage, CheckStage) else None
    return LoggedEntry(
        tick.seq,
        step.id,
        joint.id,
        title,
        what,
        shown,
        "" if read.value is None else read.value.unit,
        limit if stretch is None else f"{limit} and {stretch.text}",
        "" if read.stretch is None else read.stretch.unit,
    )


class CorrectionListPage(ListPage[str], inherit_bindings=False):
    """The list of entries that can be corrected."""

    BINDINGS: ClassVar[list[BindingType]] = [*list_keys("correct"), *leaving_keys()]
    title_line = "Correct an entry"

    def __init__(self, client: SessionClient) -> None:
        super().__init__()
        self.client = client
        self.rows = list(correctable(client.state))

    def count(self) -> int:
        return len(self.rows)

    def intro(self, width: int) -> list[Line]:
        text = "The old entry stays in the log, marked as corrected."
        if not self.rows:
            text = "There is no entry to correct yet."
        return [EMPTY, *(styled(part, "faint") for part in wrap(text, width)), EMPTY]

    def row(self, index: int, width: int) -> Line:
        each = self.rows[index]
        return ((cut(each.what, width - 26).ljust(width - 25), "text"), (cut(each.shown, 24), "strong"))

    def details(self, width: int) -> list[Line]:
        return [styled(self.rows[self.at].operation, "label")] if self.rows else []

    def open_selected(self) -> None:
        self.app.push_screen(CorrectionPage(self.client, self.rows[self.at]), self._corrected)

    def _corrected(self, message: str | None) -> None:
        if message:
            self.dismiss(message)


class CorrectionPage(FormPage, inherit_bindings=False):
    """The form for the correct value and the reason."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("correct")
    title_line = "Correct an entry"
    form = "correct"

    def __init__(self, client: SessionClient, entry: LoggedEntry) -> None:
        self.entry = entry
        inputs = client.operation(entry.step).inputs
        readings = (each for each in inputs if isinstance(each, ReadingInput) and each.name == entry.name)
        self.roles = roles_for_corrections(client.state)
        self.signer = self._signature_fields(client)
        self.limit = next((reading.limit for reading in readings), entry.limit)
        super().__init__(client)

    def questions(self) -> Sequence[FormField]:
        unit = f", in {self.entry.unit}" if self.entry.unit else ""
        stretch = FormField("stretch", f"Correct stretch, in {self.entry.stretch_unit}", keep=False)
        return (
            FormField("value", f"Correct value{unit}", keep=False),
            *((stretch,) if self.entry.stretch_unit else ()),
            FormField("reason", "What was wrong?", keep=False),
            *self.signer,
        )

    def _signature_fields(self, client: SessionClient) -> tuple[FormField, ...]:
        """The questions for who signs, while something waits for a remedy, has come to a stop or disproves a state."""
        if self.roles is None:
            return ()
        label = f"Signed by ({' and '.join(self.roles)})" if self.roles else "Signed by"
        return signature_fields(client, label, self.roles[0] if len(self.roles) == 1 else "", client.view.by)

    def intro(self, width: int) -> list[Line]:
        each = self.entry
        return [
            EMPTY,
            styled(each.operation, "label"),
            *(styled(part, "title") for part in wrap(each.what, width)),
            (("Entered: ", "text"), (each.shown, "strong")),
            *([styled(f"Limit: {self.limit}")] if self.limit else []),
            *(styled(part, "faint") for part in wrap(_SIGNED, width) if self.roles is not None),
            EMPTY,
        ]

    async def submit(self, values: dict[str, str]) -> None:
        typed, message = values["value"].strip(), f"Corrected: {self.entry.what}"
        value = typed if typed in ANSWERS else with_own_unit(typed, self.entry.unit)
        fields = {"value": value, "reason": values["reason"]}
        if self.entry.stretch_unit:
            fields["stretch"] = with_own_unit(values["stretch"], self.entry.stretch_unit)
        signed = {name: values.get(name) or None for name in ("by", "pin")}
        await self.send(message, "correct", event=self.entry.seq, **signed, **fields)
