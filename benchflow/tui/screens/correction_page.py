"""Correction of an entry. The old entry stays in the log, and the correction refers to it."""

from collections.abc import Iterator, Sequence
from typing import ClassVar

import msgspec
from msgspec import Struct
from textual.binding import BindingType

from benchflow.procedure.model import CheckStage
from benchflow.procedure.plan import Step
from benchflow.session.correction_preview import CorrectionPreview, entered_reading
from benchflow.session.refusal import Refusal
from benchflow.session.rules.check_readings import ANSWERS
from benchflow.session.rules.check_stages import band_in_force, readings_of
from benchflow.session.rules.correction_signatures import roles_for_corrections
from benchflow.session.rules.joint_progress import joint_of
from benchflow.session.rules.measurements import from_stored
from benchflow.session.rules.open_items import lot_title
from benchflow.session.rules.stage_torques import tighten_in_force
from benchflow.session.state.filled_figures import mark_of
from benchflow.session.state.state import State, Tick
from benchflow.session.view.bench_view import ReadingInput
from benchflow.session.view.reading_text import reading_text
from benchflow.tui.draw.block_parts import VERDICT_SPANS, verdict_span
from benchflow.tui.draw.gauge import draw_gauge
from benchflow.tui.draw.styled_lines import EMPTY, Line, Span, cut, hanging, styled, wrap
from benchflow.tui.model.bench_inputs import FieldSpec
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.model.typed_text import far_question, with_own_unit
from benchflow.tui.widgets.form_page import FormField, form_keys, signature_fields
from benchflow.tui.widgets.list_page import ListPage, leaving_keys, list_keys
from benchflow.tui.widgets.marked_form import MarkedForm, change_key
from benchflow.tui.widgets.source_form import SOURCE, SourceForm, source_key

_SIGNED = "A correction that makes good what is out of its limit needs the signature that a deviation needs."

GAUGE_WIDTH = 60


class LoggedEntry(Struct, frozen=True):
    """A reading, a tick, a lot or a figure that can be corrected. ``seq`` is the number of its event in the log.

    ``unit`` is empty if the unit has to be typed. ``limit`` is the band of a tick. ``stretch_unit`` is set for a tick
    with torque and stretch, which are corrected together. ``source`` is that of a figure; ``None`` for anything else.
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
    source: str | None = None


def correctable(state: State) -> Iterator[LoggedEntry]:
    """Return the entries that can be corrected, the latest first."""
    for seq, entry in sorted(state.correctable.items(), reverse=True):
        step_id, name, slot = entry.operation, entry.name, entry.reading
        step, work = state.plan.steps[step_id], state.work(step_id)
        title = f"{state.plan.number(step_id)} {step.title}"
        if entry.kind == "lot":
            lot = work.lots.get(name)
            if lot is not None:
                yield LoggedEntry(seq, step_id, name, title, f"lot of {lot_title(state, name)}", lot, "")
            continue
        if entry.kind == "figure":
            given = work.figures.get(int(slot))
            if given is not None and given.seq == seq:
                what = f"stage {slot} of {joint_of(state, name).title or name}"
                yield LoggedEntry(seq, step_id, name, title, what, given.figure, "", source=given.source)
            continue
        if entry.kind == "filled":
            filled = state.filled.get(mark_of(slot))
            if filled is not None and filled.seq == seq:
                yield LoggedEntry(seq, step_id, name, title, name, filled.figure, "", source=filled.source)
            continue
        if entry.kind == "check":
            number = next((number for number, answer in work.failed.items() if answer == seq), None)
            if number is not None:
                what = f"check {number}: {step.operation.check[number - 1].text}"
                yield LoggedEntry(seq, step_id, name, title, what, "no", "", "the only other answer is “yes”")
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
        if not self.rows:
            return []
        each = self.rows[self.at]
        source = [] if each.source is None else hanging("Source: ", each.source, width, "text", "label")
        return [styled(each.operation, "label"), *source]

    def open_selected(self) -> None:
        self.app.push_screen(CorrectionPage(self.client, self.rows[self.at]), self._corrected)

    def _corrected(self, message: str | None) -> None:
        if message:
            self.dismiss(message)


class CorrectionPage(MarkedForm, SourceForm, inherit_bindings=False):
    """The form for the correct value and the reason. It judges the value while it is typed.

    Of a figure, the value, its source or both can be corrected.

    If the ``reason`` is known already, it is not asked for: the value was read again.
    """

    BINDINGS: ClassVar[list[BindingType]] = [source_key("correct"), change_key("correct"), *form_keys("correct")]
    title_line = "Correct an entry"
    form = "correct"

    def __init__(self, client: SessionClient, entry: LoggedEntry, reason: str = "") -> None:
        self.entry = entry
        self.reason = reason
        self.title_line = "Read again" if reason else "Correct an entry"
        inputs = client.operation(entry.step).inputs
        readings = (each for each in inputs if isinstance(each, ReadingInput) and each.name == entry.name)
        self.reading = next(readings, None)
        self._asked = ""
        self.roles = roles_for_corrections(client.state)
        self.signer = self._signature_fields(client)
        self.limit = entry.limit if self.reading is None else self.reading.limit
        self.entered = entered_reading(client.state, entry.seq, client.controller.context())
        super().__init__(client)

    def questions(self) -> Sequence[FormField]:
        unit = f", in {self.entry.unit}" if self.entry.unit else ""
        stretch = FormField("stretch", f"Correct stretch, in {self.entry.stretch_unit}", keep=False)
        if self.entry.source is not None:
            return (
                FormField("value", "New figure (empty: as it is)", keep=False, optional=True),
                FormField(SOURCE, "Source", value=self.entry.source, keep=False),
                FormField("reason", "What was wrong?", keep=False),
                *self.signer,
            )
        return (
            FormField("value", f"{'New reading' if self.reason else 'Correct value'}{unit}", keep=False),
            *((stretch,) if self.entry.stretch_unit else ()),
            *(() if self.reason else (FormField("reason", "What was wrong?", keep=False),)),
            *self.signer,
        )

    def _signature_fields(self, client: SessionClient) -> tuple[FormField, ...]:
        """The questions for who signs, while something waits for a remedy, has come to a stop or disproves a state."""
        if self.roles is None:
            return ()
        label = f"Signed by ({' and '.join(self.roles)})" if self.roles else "Signed by"
        return signature_fields(client, label, self.roles[0] if len(self.roles) == 1 else "", client.view.by)

    # --- drawing ------------------------------------------------------------------------------

    def intro(self, width: int) -> list[Line]:
        each = self.entry
        verdict: Span = ("", "text") if self.entered is None else verdict_span(self.entered.reading)
        return [
            *(styled(part, "label") for part in wrap(each.operation, width)),
            *(styled(part, "title") for part in wrap(each.what, width)),
            (("Entered: ", "text"), (each.shown, "strong"), ("  ", "text"), verdict),
            *([styled(f"Limit: {self.limit}")] if self.limit else []),
            *([] if each.source is None else hanging("Source: ", each.source, width)),
            self.mark_line(),
            *self._preview_lines(width),
            *(styled(part, "faint") for part in wrap(_SIGNED, width) if self.roles is not None),
            *([] if each.source is None else self.source_lines(width)),
        ]

    def _preview_lines(self, width: int) -> list[Line]:
        """Draw the typed value in its limit with its verdict, or what is wrong with it. The height stays the same."""
        preview, gauge_width = self._preview(), min(width, GAUGE_WIDTH)
        if isinstance(preview, Refusal):
            error, *_ = preview.refused
            return [EMPTY, *hanging("× ", error.message, width, "attention")]
        if preview is None:
            gauge = None if self.entered is None else self.entered.reading.gauge
            drawn = EMPTY if gauge is None else draw_gauge(msgspec.structs.replace(gauge, value=None), gauge_width)
            return [drawn, EMPTY]
        reading, (word, role) = preview.reading, verdict_span(preview.reading)
        drawn = EMPTY if reading.gauge is None else draw_gauge(reading.gauge, gauge_width, role if word else "strong")
        lines = [drawn]
        if reading.shown:
            lines.append((("Corrected: ", "text"), (reading.shown, "strong"), (f"  {word}", role)))
        if preview.summary:
            _, role = VERDICT_SPANS.get(preview.summary_verdict, ("", "strong"))
            lines.append(styled(preview.summary, role))
        if preview.reopens:
            lines.extend(hanging("→ ", f"This reopens {'; '.join(preview.reopens)}.", width, "attention"))
        if preview.settles:
            lines.extend(hanging("→ ", f"Done again: {'; '.join(preview.settles)}.", width, "text"))
        return lines

    def _preview(self) -> CorrectionPreview | Refusal | None:
        """What the typed value leads to, ``None`` while there is none or it is not typed to its end."""
        assert self.client is not None  # set by the caller
        typed = self.fields["value"].value if self.fields else ""
        stretch = self.fields["stretch"].value if self.entry.stretch_unit and self.fields else ""
        judged = self.entered is not None or self.entry.source is not None
        if not judged or not typed.strip() or (self.entry.stretch_unit and not stretch.strip()):
            return None
        found = self.client.controller.preview_correction(self.entry.seq, *self._with_units(typed, stretch))
        if isinstance(found, Refusal):
            at = found.refused[0].at
            return None if at is not None and at >= len(typed.rstrip()) - 1 else found
        return found

    def _with_units(self, value: str, stretch: str) -> tuple[str, str | None]:
        """The typed value and stretch with their units."""
        value = value.strip()
        return (
            value if value in ANSWERS else with_own_unit(value, self.entry.unit),
            with_own_unit(stretch, self.entry.stretch_unit) if self.entry.stretch_unit else None,
        )

    def _shown_result(self, typed: str) -> str:
        """The corrected value with its verdict, or the text as typed."""
        preview = self._preview()
        if preview is None or isinstance(preview, Refusal) or not preview.reading.shown:
            return typed
        return f"{preview.reading.shown} {verdict_span(preview.reading)[0]}".rstrip()

    def _far_question(self, text: str) -> str:
        """The question about a value far from its limit, asked once for a text."""
        about_difference = self.reading is not None and self.reading.of_difference
        field = FieldSpec(limit="" if about_difference else self.limit, unit=self.entry.unit or None)
        question = "" if text == self._asked else far_question(field, text)
        self._asked = text
        return question

    async def submit(self, values: dict[str, str]) -> None:
        question = self._far_question(values["value"])
        if question:
            self.show_message(question, role="alarm")
            self.app.bell()
            return
        source = {} if self.entry.source is None else self._changed_source(values)
        if source is None:
            return
        value, stretch = self._with_units(values["value"], values.get("stretch", ""))
        fields: dict[str, object] = {"event": self.entry.seq, "value": value, "reason": self.reason or values["reason"]}
        if self.entry.source is not None and self.waits_for_warnings("correct", {**fields, **source}):
            return
        await self.send(
            f"{'Read again' if self.reason else 'Corrected'}: {self.entry.what}: "
            f"{self._shown_result(values['value']) or 'its source'}",
            "correct",
            **fields,
            by=values.get("by") or None,
            pin=values.get("pin") or None,
            **self.mark_field(),
            **source,
            **({} if stretch is None else {"stretch": stretch}),
        )

    def _changed_source(self, values: dict[str, str]) -> dict[str, str] | None:
        """The field of the intent for another source, none if it stays; ``None`` if nothing can be sent."""
        if self.lacks_reason(values[SOURCE]):
            return None
        source = self.source_in(values)
        changed = source != self.entry.source
        if not (values["value"] or changed):
            self.show_message(
                "Nothing is changed. Type the correct figure, or change its source (↑↓).", role="attention"
            )
            return None
        return {SOURCE: source} if changed else {}
