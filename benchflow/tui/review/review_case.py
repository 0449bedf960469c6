"""One job under review, with the answers that the screens show.

Slow answers are calculated in a thread. Keys are held back until the answer is ready, so only one calculation
runs at a time.
"""

import asyncio
from collections.abc import Callable
from functools import cached_property
from typing import Any

import msgspec
from msgspec import Struct

from benchflow.procedure.model import Failure
from benchflow.review.evidence.assessment import (
    EVERYTHING,
    Review,
    review_everything,
    review_failure,
    review_search,
    text_of,
)
from benchflow.review.evidence.complaint_review import review_complaint
from benchflow.review.evidence.first_questions import NO_ANSWERS
from benchflow.review.evidence.given_answers import answers_given
from benchflow.review.evidence.shop_history import ShopHistory
from benchflow.review.formatting import count, local_day, local_time_with_zone
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.replay import Frame, Replay, StepSize, context_at_end
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.review.sheets.sheet_content import BuildSheetOperation
from benchflow.session.history.event_text import event_text
from benchflow.session.history.log_titles import LogTitles
from benchflow.session.refusal import Refusal
from benchflow.session.rules.failed_fasteners import FAILURE_TEXT
from benchflow.session.shop.register import Shop
from benchflow.session.state.come_back_events import FirstAnswers
from benchflow.session.state.events import Event, FastenerFailed, FastenerTicked, FastenerUnticked, event_of
from benchflow.session.state.state import State
from benchflow.session.view.bench_view import BenchView, OperationView
from benchflow.session.view.build import operation_view


class CustomerWords(Struct, frozen=True):
    """A complaint in the customer's words."""

    text: str


Asked = Failure | CustomerWords | str | None
"""The subject of a review: a failure from the procedure, a complaint in the customer's words, words to search for, or
``None`` for everything."""

Recorder = Callable[[dict[str, Any]], str]
"""Adds an intent to the log of the job, and returns a message. It raises a :class:`BenchflowError` if it cannot."""


class EventSummary(Struct, frozen=True):
    """One event as text.

    ``at`` is the time in UTC (RFC 3339). ``operation`` is empty if the event belongs to none. ``short_text`` is shown
    below the title of the operation.
    """

    seq: int
    at: str
    operation: str
    text: str
    short_text: str


class OperationText(Struct, frozen=True):
    """The text of one operation in the procedure: as on the bench, and as written in the file."""

    now: OperationView
    line: int
    written: str


class ReviewCase:
    """One job under review."""

    def __init__(
        self,
        log: LoadedLog,
        shop: Shop | None,
        history: ShopHistory | None = None,
        recorder: Recorder | None = None,
        answers: FirstAnswers = NO_ANSWERS,
    ) -> None:
        self.log, self.shop = log, shop
        self.answers = answers
        self._logged_complaint = ""
        self.words = ""  # the complaint as it was typed
        self._history, self._recorder = history, recorder

    # --- first questions and entries ---------------------------------------------------------

    @property
    def can_record(self) -> bool:
        """True if a complaint or a finding can be added to the log."""
        return self._recorder is not None

    def answer(self, given: dict[str, str]) -> Refusal | None:
        """Take the answers to the first questions; a refusal if one of them cannot be read."""
        answers = answers_given(given)
        if isinstance(answers, Refusal):
            return answers
        self.answers = answers
        return None

    def subject_of(self, found: Review) -> Asked:
        """What was asked in a review that is made again."""
        if found.complaint == EVERYTHING:
            return None
        if not found.taken:
            return found.asked
        return CustomerWords(found.asked) if found.asked else found.taken[0].failure

    def answers_of(self, found: Review) -> dict[str, str]:
        """The answers of a review by the names of the questions."""
        return msgspec.structs.asdict(found.answers)

    def usual_person(self) -> str:
        """The person who signs by default: as in the register, else the builder of the job."""
        return self.shop.defaults.by if self.shop is not None and self.shop.defaults.by else self.log.facts.session.by

    def last_complaint(self) -> str:
        """The complaint that was logged last, in this review or before; "" if there is none."""
        logged = self.log.facts.complaints
        return self._logged_complaint or (logged[-1].text if logged else "")

    async def record(self, message: dict[str, Any]) -> str:
        """Add an entry to the log of the job, and return a message.

        Raises:
            BenchflowError: it cannot be added.
        """
        assert self._recorder is not None  # otherwise the keys are hidden
        answer = await asyncio.to_thread(self._recorder, message)
        if message["intent"] == "complaint":
            self._logged_complaint = message["text"]
        return answer

    # --- quick answers ---------------------------------------------------------------------

    @property
    def unit(self) -> str:
        return self.log.facts.session.unit or "unnamed build"

    @property
    def last(self) -> int:
        return len(self.log.lines)

    def build(self) -> str:
        """Return ``Twin-cam head, revision B · R. Builder · 2026-03-02``."""
        session, procedure = self.log.facts.session, self.log.procedure
        return f"{procedure.title}, revision {procedure.revision} · {session.by} · {local_day(session.opened_at)}"

    def about(self) -> tuple[tuple[str, str], ...]:
        """Return facts about the whole job, as pairs of label and text."""
        session, procedure = self.log.facts.session, self.log.procedure
        left = len(self.log.plan.steps) - len(self.log.finished)
        chain = self.log.damage is None
        not_ended = "not ended" if chain else "not known"
        return (
            ("Procedure", f"{procedure.title}, {procedure.id}, revision {procedure.revision}"),
            ("Builder", session.by),
            ("Started", local_time_with_zone(session.opened_at)),
            ("Ended", local_time_with_zone(session.closed_at) if session.closed_at else not_ended),
            ("Not done" if chain else "Not known", count(left, "operation") if left else "nothing"),
            ("Log", self.log.path),
            ("Hash chain", f"complete, {count(session.events, 'event')}" if chain else "BROKEN, see below"),
            ("Fingerprint", session.head),
        )

    def title(self, operation: str) -> str:
        """Return ``38  Mark the nuts``, or the id if the operation is not part of this build."""
        step = self.log.plan.steps.get(operation)
        return operation if step is None else f"{self.log.plan.number(operation)}  {step.title}"

    def step_with_number(self, number: str) -> str:
        """The step with this number, as at the bench; "" if there is none."""
        return next((name for name in self.log.plan.steps if str(self.log.plan.number(name)) == number), "")

    def finishing(self, operation: str) -> int | None:
        """Return the number of the event that finished the operation, ``None`` if it is not done."""
        done = self.log.state.done.get(operation)
        return None if done is None else done.seq

    def reading(self, operation: str, name: str, slot: str) -> int | None:
        """Return the number of the event of a valid reading, ``None`` if there is none."""
        key = (operation, name, slot)
        facts = self.log.facts.readings
        return next((f.seq for f in facts if f.in_force and (f.operation, f.name, f.slot) == key), None)

    # --- calculated in a thread -------------------------------------------------------------

    async def review(self, asked: Asked) -> Review:
        return await asyncio.to_thread(self._review, asked)

    def _review(self, asked: Asked) -> Review:
        log, shop, answers, history = self.log, self.shop, self.answers, self._history
        match asked:
            case None:
                return review_everything(log, shop, answers=answers, history=history)
            case str():
                return review_search(log, asked, shop, answers=answers, history=history)
            case CustomerWords():
                return review_complaint(log, asked.text, shop, answers=answers, history=history)
            case Failure():
                return review_failure(log, asked, shop, answers=answers, history=history)

    async def evidence(self, operation: str) -> BuildSheetOperation:
        """Return the valid readings, fasteners, checks, parts and names of one operation."""
        return (await asyncio.to_thread(lambda: self._sheet))[operation]

    @cached_property
    def _sheet(self) -> dict[str, BuildSheetOperation]:
        made = build_sheet(self.log)
        return {each.operation: each for section in made.sections for each in section.operations}

    async def operation_text(self, operation: str) -> OperationText:
        return await asyncio.to_thread(self._operation_text, operation)

    def _operation_text(self, operation: str) -> OperationText:
        step = self.log.plan.steps[operation]
        now = operation_view(self.log.state, context_at_end(self.log.state), operation)
        return OperationText(now, step.operation.mark.line, text_of(self.log, operation))

    # --- replay --------------------------------------------------------------------------

    async def point_at(self, seq: int) -> "ReplayPoint":
        return await asyncio.to_thread(self._point_at, seq)

    def _point_at(self, seq: int) -> "ReplayPoint":
        return ReplayPoint(self._replay.frame(seq), self._replay.state(seq), self._story)

    async def bench(self, seq: int) -> BenchView:
        """Return the view of the bench after event ``seq``."""
        return await asyncio.to_thread(lambda: self._replay.bench(seq))

    async def forward(self, seq: int, by: StepSize) -> int:
        return await asyncio.to_thread(lambda: self._replay.forward(seq, by))

    async def back(self, seq: int, by: StepSize) -> int:
        return await asyncio.to_thread(lambda: self._replay.back(seq, by))

    @cached_property
    def _replay(self) -> Replay:
        return Replay(self.log)

    @cached_property
    def _story(self) -> tuple[EventSummary, ...]:
        """Every event as text, event 1 first."""
        titles = LogTitles(self.log.plan)
        in_progress = ""
        out = []
        for line in self.log.lines:
            event = event_of(line)
            words = (
                event_text(event, titles)
                if event is not None
                else f"{line.kind} (an event that this version cannot read)"
            )
            named = line.data.get("operation")
            operation = named if isinstance(named, str) and named in self.log.plan.steps else in_progress
            if line.kind == "started":
                in_progress = operation
            elif line.kind in ("finished", "paused"):
                in_progress = ""
            out.append(EventSummary(line.seq, line.at, operation, words, _short(event) or words))
        return tuple(out)


class ReplayPoint(Struct, frozen=True):
    """The job after one event, with all events as text."""

    frame: Frame
    state: State
    story: tuple[EventSummary, ...]


def _short(event: Event | None) -> str:
    match event:
        case FastenerTicked():
            return f"no. {event.fastener}, stage {event.stage}"
        case FastenerUnticked():
            return f"no. {event.fastener}, stage {event.stage}: tick cleared"
        case FastenerFailed():
            return f"no. {event.fastener} {FAILURE_TEXT[event.what]}"
        case _:
            return ""
