"""Forms for the reason of a choice, a signature, a deviation and a remedy."""

from collections.abc import Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType

from benchflow.session.view.bench_view import (
    CalculatedInput,
    CheckInput,
    ChoiceInput,
    HoldInput,
    ReadingInput,
    TightenInput,
)
from benchflow.trade.verdict import NOT_ACCEPTED, OUT_OF_LIMIT, VERDICT_TEXT
from benchflow.tui.draw.styled_lines import EMPTY, Line, hanging, styled, wrap
from benchflow.tui.model.bench_inputs import BenchInput, SlotInput, input_of
from benchflow.tui.model.session_client import SessionClient
from benchflow.tui.widgets.form_page import FormField, FormPage, form_keys, signature_fields
from benchflow.tui.widgets.marked_form import MarkedForm, change_key, keep_mark, kept_mark

MARK_DRAFT = "deviate change"


class ChoiceReasonPage(FormPage, inherit_bindings=False):
    """The form for the reason to choose another part than the preferred one."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("choose")
    title_line = "Reason for another part"
    form = "choice-reason"

    def __init__(self, client: SessionClient, name: str, take: str, why: str) -> None:
        self.name_of_choice, self.take, self.why = name, take, why
        super().__init__(client)

    def intro(self, width: int) -> list[Line]:
        return [EMPTY, *(styled(part, "attention") for part in wrap(self.why, width)), EMPTY]

    def questions(self) -> Sequence[FormField]:
        return (FormField("reason", f"Why {self.take}?", keep=False),)

    async def submit(self, values: dict[str, str]) -> None:
        if not values["reason"]:
            self.show_message("Type the reason, or press Esc to go back.", role="attention")
            return
        await self.send(
            f"Chosen: {self.take}", "choose", name=self.name_of_choice, take=self.take, reason=values["reason"]
        )


class SignPage(FormPage, inherit_bindings=False):
    """The form for the signature at a hold point."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f2", "sign_as_offered", "sign with this name", id="sign.as-offered"),
        *form_keys("sign"),
    ]
    title_line = "Hold point"
    form = "sign"

    def __init__(self, client: SessionClient, operation: str) -> None:
        self.now = client.operation(operation)
        self.signer = signature_fields(client, f"Who signs as {self._hold().role}?", self._hold().role)
        super().__init__(client)

    def questions(self) -> Sequence[FormField]:
        return self.signer

    def _hold(self) -> HoldInput:
        return next(each for each in self.now.inputs if isinstance(each, HoldInput))

    def intro(self, width: int) -> list[Line]:
        hold = self._hold()
        lines = [EMPTY, styled(f"{self.now.number}  {self.now.title}", "title"), EMPTY]
        lines.extend(hanging("Inspect: ", hold.text, width, "strong", "label"))
        lines.append(EMPTY)
        lines.extend(
            styled(part) for part in wrap("The operations after this hold stay blocked until it is signed.", width)
        )
        return lines

    def _name_is_offered(self) -> bool:
        """True if the name is the one offered and no PIN proves it. Then Enter alone must not sign."""
        assert self.client is not None  # set by the caller
        return self.signer[0].offered and not self.client.has_register and self._is_untouched()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        offered = bool(self.fields) and self._name_is_offered()
        if action == "sign_as_offered":
            return offered
        if action == "submit" and offered:
            return None
        return super().check_action(action, parameters)

    def blocked_messages(self, action: str) -> tuple[str, ...]:
        return (f"To sign as {self.signer[0].value}, press F2. To sign as another person, type the name.",)

    def action_sign_as_offered(self) -> None:
        self.action_submit()

    async def submit(self, values: dict[str, str]) -> None:
        if not any(char.isalpha() for char in values["by"]):
            self.show_message("Enter the name of the person who signs.", role="attention")
            return
        await self.send(
            f"Signed by {values['by']}.",
            "sign",
            operation=self.now.operation,
            by=values["by"],
            pin=values.get("pin") or None,
        )


class DeviationPage(MarkedForm, FormPage, inherit_bindings=False):
    """The form for a deviation. It waives a limit, a hold or a time window, never an interference rule."""

    BINDINGS: ClassVar[list[BindingType]] = [change_key("deviate"), *form_keys("sign the deviation")]
    title_line = "Deviation"
    form = "deviate"

    def __init__(self, client: SessionClient, operation: str) -> None:
        self.now = client.operation(operation)
        self.clocks = client.view.clocks
        self.about = tuple(self._waivable())
        self.first = self._selected_first(self.about)
        roles = client.roles_to_waive(operation, self.first) if self.first else ()
        label = f"Signed by ({' and '.join(roles)})" if roles else "Signed by"
        self.signer = signature_fields(client, label, roles[0] if len(roles) == 1 else "", client.view.by)
        super().__init__(client)
        self.marked = kept_mark(client, MARK_DRAFT)

    def questions(self) -> Sequence[FormField]:
        if not self.about:
            return ()
        waived = FormField("about", "What is waived?", self.about, self.first, offered=bool(self.first))
        return (waived, FormField("reason", "Reason"), *self.signer)

    def _waivable(self) -> list[tuple[str, str]]:
        out: list[tuple[str, str]] = []
        for given in self.now.inputs:
            match given:
                case ReadingInput():
                    out.append((given.name, f"{given.ask} ({given.limit})" if given.limit else given.ask))
                case CalculatedInput():
                    out.append((given.name, f"{given.title} ({given.limit})" if given.limit else given.title))
                case TightenInput():
                    out.append((given.joint, given.title))
                    out.extend(_waivable_fasteners(given))
                case HoldInput():
                    out.append(("hold", f"hold point: {given.role} signs"))
                case CheckInput() if given.failed:
                    out.append((f"check {given.number}", f"answered no: {given.text}"))
                case ChoiceInput() if not given.complete and not given.proposed:
                    out.append((given.name, f"{given.title}: the table has no part"))
                case _:
                    pass
        rows = [row for row in self.clocks if row.operation == self.now.operation and not row.remedy]
        windows = [f"{row.limits} after {row.since}" for row in rows]
        return [*out, ("time", f"time window: {'; '.join(windows)}")] if windows else out

    def _selected_first(self, about: tuple[tuple[str, str], ...]) -> str:
        """Return the only value out of its limit, else the only one that can be waived, else an empty string."""
        out_of_limit = [
            given.name
            for given in self.now.inputs
            if isinstance(given, ReadingInput) and not given.complete
            if any(slot.verdict in NOT_ACCEPTED for slot in given.readings)
        ]
        out_of_limit += [
            given.name
            for given in self.now.inputs
            if isinstance(given, CalculatedInput) and not given.complete and given.verdict in NOT_ACCEPTED
        ]
        joints = [given for given in self.now.inputs if isinstance(given, TightenInput)]
        out_of_limit += [given.joint for given in joints if given.advice and not given.stopped]
        failed = [(given, each) for given in joints for each in given.fasteners if each.failed and not each.waived]
        out_of_limit += [f"{given.joint}[{each.number}]" for given, each in failed]
        if any(reason.code in ("too-early", "too-late") for reason in self.now.missing):
            out_of_limit.append("time")
        named = out_of_limit or [name for name, _ in about]
        return named[0] if len(named) == 1 else ""

    def intro(self, width: int) -> list[Line]:
        text = (
            "A deviation waives a limit, a hold or a time window. Its reason and name go into the log and onto the "
            "build sheet. The order and the interference rules cannot be waived."
        )
        if not self.form_fields:
            text = "Nothing in this operation can be waived. It has no limit, hold point or time window."
        return [
            EMPTY,
            styled(f"{self.now.number}  {self.now.title}", "title"),
            *(styled(part) for part in wrap(text, width)),
            *([self.mark_line()] if self.form_fields else []),
        ]

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action in ("submit", "mark_change") and not self.form_fields:
            return None
        return super().check_action(action, parameters)

    def blocked_messages(self, action: str) -> tuple[str, ...]:
        return ("There is nothing to waive. Press Esc to go back.",)

    def mark_changed(self) -> None:
        assert self.client is not None  # set by the caller
        keep_mark(self.client, MARK_DRAFT, self.marked)
        self.bench_app.save_soon()

    def done(self, message: str) -> None:
        assert self.client is not None  # set by the caller
        keep_mark(self.client, MARK_DRAFT, False)
        super().done(message)

    async def submit(self, values: dict[str, str]) -> None:
        await self.send(
            "Deviation signed.",
            "deviate",
            operation=self.now.operation,
            about=values["about"],
            reason=values["reason"],
            by=values["by"] or None,
            pin=values.get("pin") or None,
            **self.mark_field(),
        )


def _waivable_fasteners(joint: TightenInput) -> list[tuple[str, str]]:
    """Subject and title of each fastener that a deviation can be about: failed, or one of several out of their band."""
    failed = [each for each in joint.fasteners if each.failed and not each.waived]
    out = [each for each in joint.fasteners if each.verdict in OUT_OF_LIMIT and not each.waived and not each.failed]
    return [
        *((f"{joint.joint}[{each.number}]", f"{joint.title}, no. {each.number}: {each.failed}") for each in failed),
        *((f"{joint.joint}[{each.number}]", f"{joint.title}, no. {each.number}") for each in out if len(out) > 1),
    ]


class RemedyPage(FormPage, inherit_bindings=False):
    """The remedy for a value or a fastener out of its limit, or a check answered no. Enter confirms that it is done."""

    BINDINGS: ClassVar[list[BindingType]] = form_keys("remedy done")
    title_line = "Remedy"
    form = "remedy"

    def __init__(self, client: SessionClient, item: BenchInput) -> None:
        given = input_of(item)
        assert isinstance(given, ReadingInput | CalculatedInput | CheckInput | TightenInput)  # only these have remedies
        self.given = given
        self.slot = item.slot if isinstance(item, SlotInput) else None
        super().__init__(client)

    @property
    def remedy(self) -> str:
        """The instruction for the reading, the calculated value or the fastener."""
        given = self.given if self.slot is None else self.slot
        return "" if isinstance(given, ReadingInput) else given.remedy

    @property
    def redo(self) -> tuple[str, ...]:
        """Number and title of each operation that the remedy redoes or calls for."""
        given = self.given if self.slot is None else self.slot
        return () if isinstance(given, ReadingInput) else given.redo

    @property
    def must_stop(self) -> bool:
        """True if the work stops: no remedy is left, or the remedy is to stop."""
        given = self.given if self.slot is None else self.slot
        return False if isinstance(given, ReadingInput) else given.must_stop

    def questions(self) -> Sequence[FormField]:
        return ()

    def intro(self, width: int) -> list[Line]:
        given = self.given
        if isinstance(given, CheckInput):
            name, limit = given.text, f"Check {given.number}, answered no"
        elif isinstance(given, TightenInput):
            name, limit = f"{given.title}, fastener {given.remedied}", given.progress
        else:
            name, limit = given.ask if isinstance(given, ReadingInput) else given.title, self._limit_text()
            if self.slot is not None and self.slot.subject != given.name:
                name = f"{name}, reading {self.slot.slot}"
        lines: list[Line] = [EMPTY, styled(name, "title"), styled(limit), EMPTY]
        lines.extend(hanging("→ ", self.remedy, width, "strong", "attention"))
        lines.append(EMPTY)
        if self.redo and not self.must_stop:
            lines.extend([*hanging("Then do: ", "; ".join(self.redo), width, "strong", "label"), EMPTY])
        then = "answer the check" if isinstance(given, CheckInput) else "measure"
        text = (
            f"Do this, press Enter, then {then} again. To leave the part as it is, go back (Esc) and sign a "
            "deviation (d)."
        )
        if self.must_stop:
            text = (
                "The work stops here. If the entry is wrong, go back (Esc) and correct it (c). To leave the part as "
                "it is, go back and sign a deviation (d). To do earlier work again, start a rework."
            )
        return [*lines, *(styled(part) for part in wrap(text, width))]

    def _limit_text(self) -> str:
        """The limit that the value is out of: the main one, or a further one with what was found."""
        given = self.given
        assert isinstance(given, ReadingInput | CalculatedInput)
        if isinstance(given, ReadingInput) and self.slot is not None and self.slot.further:
            row = given.further[self.slot.further - 1]
            return f"{row.title}: {row.shown} {VERDICT_TEXT[row.verdict]}. Limit: {row.limit}"
        return f"Limit: {(self.slot.limit if self.slot is not None else '') or given.limit}"

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "submit" and self.must_stop:
            return None
        return super().check_action(action, parameters)

    def blocked_messages(self, action: str) -> tuple[str, ...]:
        return ("This cannot be confirmed as done. Go back (Esc), then correct the entry (c) or sign a deviation (d).",)

    async def submit(self, values: dict[str, str]) -> None:
        if isinstance(self.given, TightenInput):
            again = f"Now do: {'; '.join(self.redo)}." if self.redo else f"Tick fastener {self.given.remedied} again."
            fields = {"name": self.given.joint, "fastener": self.given.remedied}
            await self.send(f"Remedy done. {again}", "remedy", **fields)
            return
        if isinstance(self.given, CheckInput):
            again = f"Now do: {'; '.join(self.redo)}." if self.redo else "Answer the check again."
            await self.send(f"Remedy done. {again}", "remedy", name=f"check {self.given.number}")
            return
        again = "Measure again."
        if self.redo:
            calculated = isinstance(self.given, CalculatedInput)
            then = "The result is then calculated again." if calculated else "Then measure again."
            again = f"Do now: {'; '.join(self.redo)}. {then}"
        await self.send(
            f"Remedy done. {again}", "remedy", name=self.given.name if self.slot is None else self.slot.subject
        )
