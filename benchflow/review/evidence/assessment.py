"""Reviews a build after a complaint: the steps that should have prevented it, ranked by how weak their evidence is.

The ranking rule is in :mod:`benchflow.review.evidence.ranking`. Only the one log is needed. The answers to the first
questions and the shop's other builds can be given as well.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from benchflow.base.plaintext import clean
from benchflow.ordering.wording import in_a_sentence
from benchflow.procedure.model import Caution, Failure
from benchflow.procedure.plan import Step
from benchflow.review.evidence.complaint_matching import MatchedFailure
from benchflow.review.evidence.first_questions import (
    ANSWER_RULES,
    NO_ANSWERS,
    adjustments_of,
    cautions_of,
    job_points_of,
)
from benchflow.review.evidence.job_points import job_points
from benchflow.review.evidence.other_builds_points import OtherBuilds
from benchflow.review.evidence.ranking import Adjustment, WeakPoint, rule, weakness, worst_first
from benchflow.review.evidence.recorded_evidence import Evidence, evidence_of
from benchflow.review.evidence.retorque_points import retorque_points
from benchflow.review.evidence.shop_cases import CASE_RULES, EarlierCases, earlier_cases, means_one_of
from benchflow.review.evidence.shop_history import ShopHistory
from benchflow.review.evidence.weak_points import weak_points_of
from benchflow.review.evidence.weights import SUSPECT
from benchflow.review.formatting import count
from benchflow.review.log.facts import CauseFact
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.state.come_back_events import FirstAnswers

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop


EVERYTHING = "everything"
"""The ``complaint`` of a review of all steps."""


WHOLE_JOB = "The whole job"
"""The title of the entry with the weak points that belong to no step. Its ``operation`` is "" and its number 0."""


class ReviewedStep(Struct, frozen=True):
    """A step that should have prevented the complaint, with its evidence.

    ``reasons`` are its weak points, the worst first. ``known`` is the recorded evidence. ``seq`` is the event to look
    at first: the event of the worst weak point, or else the one that finished the step. ``line`` is the line of the
    step in the procedure.
    """

    operation: str
    number: int
    title: str
    section: str
    guards_against: tuple[str, ...]
    done: bool
    reasons: tuple[WeakPoint, ...]
    known: tuple[Evidence, ...]
    seq: int | None
    line: int
    adjustments: tuple[Adjustment, ...] = ()  # what moves the step in the order besides its grade
    cases: int = 0  # earlier come-backs with this complaint that were found to be of this step

    @property
    def grade(self) -> int:
        return max((reason.grade for reason in self.reasons), default=0)

    @property
    def suspect(self) -> bool:
        """True if the worst weak point has grade :data:`SUSPECT` or more."""
        return self.grade >= SUSPECT


class Elsewhere(Struct, frozen=True):
    """The worst suspect step that should not have prevented the complaint. ``more`` counts the other ones."""

    operation: str
    number: int
    title: str
    reason: WeakPoint
    more: int

    @property
    def words(self) -> str:
        """One sentence for people."""
        what = f"step {self.number}, “{self.title}”" if self.operation else in_a_sentence(self.title)
        more = f" {count(self.more, 'more step')} {'is' if self.more == 1 else 'are'} suspect." if self.more else ""
        reason = f"{in_a_sentence(self.reason.title)}: {self.reason.words} (grade {self.reason.grade})."
        return f"Elsewhere in this build: {what}, {reason}{more}"


class Review(Struct, frozen=True):
    """The answer to one complaint.

    ``complaint`` is the text of the failures that it means, a search, or :data:`EVERYTHING`. ``guards`` are the steps
    that should have prevented it, the weakest first; ``not_here`` the titles of such operations that this build's
    options leave out. ``asked`` are the customer's words, ``taken`` the failures that they may mean, the best fit
    first. ``elsewhere`` is ``None`` if no other step is suspect, or all steps are reviewed.
    """

    complaint: str
    failures: tuple[Failure, ...]  # all failures that the procedure lists
    guards: tuple[ReviewedStep, ...]
    not_here: tuple[str, ...]
    rule: tuple[str, ...]
    warnings: tuple[str, ...]
    asked: str = ""
    taken: tuple[MatchedFailure, ...] = ()
    answers: FirstAnswers = NO_ANSWERS
    cautions: tuple[Caution, ...] = ()
    elsewhere: Elsewhere | None = None
    cases: EarlierCases | None = None
    findings: tuple[CauseFact, ...] = ()  # what come-backs of this job turned out to be, without those withdrawn

    @property
    def suspects(self) -> tuple[ReviewedStep, ...]:
        return tuple(guard for guard in self.guards if guard.suspect)


def review_failures(
    log: LoadedLog,
    taken: Sequence[MatchedFailure],
    shop: "Shop | None" = None,
    *,
    asked: str = "",
    answers: FirstAnswers = NO_ANSWERS,
    history: ShopHistory | None = None,
) -> Review:
    """The steps that should have prevented any of the failures ``taken``, at least one.

    ``asked`` are the customer's words, ``answers`` his answers to the first questions. ``history`` has the shop's other
    builds.
    """
    ids = {match.failure.id for match in taken}
    chosen = [step.id for step in log.plan.steps.values() if ids & set(_prevented_failures(step))]
    here = {log.plan.steps[name].operation.number for name in chosen}
    written = [
        operation.title
        for operation in log.procedure.operations
        if ids & {ref.name for ref in operation.guards_against} and operation.number not in here
    ]
    complaint = "; ".join(match.failure.text for match in taken)
    meant = means_one_of(log.procedure.failures, frozenset(ids))
    found = _Assessment(log, shop, f"{asked} {complaint}", answers, history, meant).review(complaint, chosen, written)
    return replace(found, asked=asked, taken=tuple(taken))


def review_failure(
    log: LoadedLog,
    failure: Failure,
    shop: "Shop | None" = None,
    *,
    answers: FirstAnswers = NO_ANSWERS,
    history: ShopHistory | None = None,
) -> Review:
    """The steps that should have prevented one of the procedure's failures."""
    taken = (MatchedFailure(failure, 1.0, (failure.text,)),)
    return review_failures(log, taken, shop, answers=answers, history=history)


def review_search(
    log: LoadedLog,
    text: str,
    shop: "Shop | None" = None,
    *,
    answers: FirstAnswers = NO_ANSWERS,
    history: ShopHistory | None = None,
) -> Review:
    """The steps that contain every word of ``text``: in their title, instruction, cautions, values, checks, joint,
    parts, notes, or in the failures that they guard against."""
    words = text.casefold().split()
    chosen = [
        step.id
        for step in log.plan.steps.values()
        if words and all(word in _searchable_text(log, step) for word in words)
    ]
    assessment = _Assessment(log, shop, text, answers, history, lambda other: other.casefold() == text.casefold())
    return replace(assessment.review(f"search: {clean(text)}", chosen, ()), asked=clean(text))


def review_everything(
    log: LoadedLog,
    shop: "Shop | None" = None,
    *,
    answers: FirstAnswers = NO_ANSWERS,
    history: ShopHistory | None = None,
) -> Review:
    """Every step of the build, for any complaint."""
    assessment = _Assessment(log, shop, "", answers, history, lambda other: False)  # cases belong to a complaint
    return assessment.review(EVERYTHING, tuple(log.plan.steps), ())


class _Assessment:
    """The assessment of one build: the weak points of its steps, and their order for one complaint.

    ``words`` has the words of the customer and of the failures that they mean. ``meant`` tests if the complaint of an
    earlier come-back is the same.
    """

    def __init__(
        self,
        log: LoadedLog,
        shop: "Shop | None",
        words: str,
        answers: FirstAnswers,
        history: ShopHistory | None,
        meant: Callable[[str], bool],
    ) -> None:
        self.log, self.shop, self.words, self.answers, self.history = log, shop, words, answers, history
        self.cases = self._earlier_cases(meant)
        self.others = None if history is None else OtherBuilds(log, history)

    def review(self, complaint: str, chosen: Sequence[str], not_here: Sequence[str]) -> Review:
        """Review the steps ``chosen``. The other steps are only searched for the worst suspect one."""
        guards = [*self._whole_job(), *(self._reviewed_step(self.log.plan.steps[name]) for name in chosen)]
        # The sort is stable: equally weak steps keep the order of the procedure.
        guards.sort(key=lambda guard: weakness(guard.reasons, guard.adjustments), reverse=True)
        cautions = cautions_of(self.words, self.answers, self.log.procedure.title, self.log.procedure_text)
        return Review(
            complaint, self.log.procedure.failures, tuple(guards), tuple(not_here),
            (*rule(), *ANSWER_RULES, *CASE_RULES), self.log.warnings,
            answers=self.answers, cautions=cautions,
            elsewhere=self._elsewhere(set(chosen)), cases=self.cases,
            findings=tuple(cause for cause in self.log.facts.causes if cause.in_force),
        )  # fmt: skip

    def _whole_job(self) -> Iterator[ReviewedStep]:
        """The weak points that belong to no step, as one entry; nothing if there are none."""
        log = self.log
        reasons = worst_first((*job_points(log, self.shop), *job_points_of(self.answers)))
        if reasons:
            first = next((reason.seq for reason in reasons if reason.seq is not None), None)
            yield ReviewedStep("", 0, WHOLE_JOB, "", (), log.facts.session.closed, reasons, (), first, 0)

    def _reviewed_step(self, step: Step) -> ReviewedStep:
        log, reasons = self.log, self._weak_points(step)
        finished = log.state.done.get(step.id)
        sections = {section.id: section.title for section in log.procedure.sections}
        first = next((reason.seq for reason in reasons if reason.seq is not None), None)
        return ReviewedStep(
            operation=step.id,
            number=log.plan.number(step.id),
            title=step.title,
            section=sections.get(step.operation.section, step.operation.section),
            guards_against=_prevented_failures(step),
            done=step.id in log.finished,
            reasons=reasons,
            known=evidence_of(log, step),
            seq=first if first is not None else finished.seq if finished is not None else None,
            line=step.operation.mark.line,
            adjustments=tuple(self._adjustments(step, reasons)),
            cases=0 if self.cases is None else self.cases.of_step(step.id),
        )

    def _weak_points(self, step: Step) -> tuple[WeakPoint, ...]:
        answered = retorque_points(self.log, step, self.answers)
        odd = () if self.others is None else self.others.points(step)
        return worst_first((*weak_points_of(self.log, step, self.shop), *answered, *odd))

    def _adjustments(self, step: Step, reasons: Sequence[WeakPoint]) -> Iterator[Adjustment]:
        yield from adjustments_of(self.log, step, reasons, self.words, self.answers)
        by_cases = None if self.cases is None else self.cases.adjustment(step.id)
        if by_cases is not None and reasons:
            yield by_cases

    def _earlier_cases(self, meant: Callable[[str], bool]) -> EarlierCases | None:
        if self.history is None:
            return None
        session, plan = self.log.facts.session, self.log.plan
        cases = self.history.cases(plan.procedure.id, session.session)
        return earlier_cases(cases, meant, {step.id: step.title for step in plan.steps.values()}, session.simulated)

    def _elsewhere(self, chosen: set[str]) -> Elsewhere | None:
        others = [step for step in self.log.plan.steps.values() if step.id not in chosen]
        found = [(step, reasons) for step in others if (reasons := self._weak_points(step))]
        suspects = [(step, reasons) for step, reasons in found if reasons[0].grade >= SUSPECT]
        if not suspects:
            return None
        worst, reasons = max(suspects, key=lambda entry: weakness(entry[1]))
        number = self.log.plan.number(worst.id)
        return Elsewhere(worst.id, number, worst.title, reasons[0], len(suspects) - 1)


def _prevented_failures(step: Step) -> tuple[str, ...]:
    return tuple(ref.name for ref in step.operation.guards_against)


def _searchable_text(log: LoadedLog, step: Step) -> str:
    operation = step.operation
    texts = dict.fromkeys(_prevented_failures(step))
    failures = (failure.text for failure in log.procedure.failures if failure.id in texts)
    kit = (item.title for item in log.procedure.kit if item.id in {ref.name for ref in operation.uses})
    joints = (j.title or j.id for j in log.procedure.joints if operation.tighten and j.id == operation.tighten.joint)
    notes = (note.text for note in log.facts.notes if note.operation == step.id)
    parts: Iterable[str] = (
        step.id, operation.title, operation.do, operation.because, *(c.text for c in operation.cautions),
        *(f"{r.name} {r.ask}" for r in operation.record), *(f"{w.name} {w.title}" for w in operation.work_out),
        *(point.text for point in operation.check), *_prevented_failures(step), *failures, *kit, *joints, *notes,
    )  # fmt: skip
    return " ".join(parts).casefold()


def text_of(log: LoadedLog, operation: str) -> str:
    """The lines of one step in the procedure text of the log."""
    step = log.plan.steps[operation]
    start = step.operation.mark.line
    lines = log.procedure_text.splitlines()
    later = [o.mark.line for o in log.procedure.operations if o.mark.line > start]
    later += [s.mark.line for s in log.procedure.sections if s.mark.line > start]
    end = min(later, default=len(lines) + 1)
    return "\n".join(lines[max(start - 1, 0) : end - 1]).rstrip()
