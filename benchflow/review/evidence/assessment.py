"""Reviews a build after a complaint: the steps that should have prevented it, ranked by how weak their evidence is.

The ranking rule is in :mod:`benchflow.review.evidence.ranking`. Only the one log is needed, no archive.
"""

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from msgspec import Struct

from benchflow.base.plaintext import clean
from benchflow.procedure.model import Failure
from benchflow.procedure.plan import Step
from benchflow.review.evidence.job_points import job_points
from benchflow.review.evidence.ranking import WeakPoint, rule, weakness, worst_first
from benchflow.review.evidence.recorded_evidence import Evidence, evidence_of
from benchflow.review.evidence.weak_points import weak_points_of
from benchflow.review.evidence.weights import SUSPECT
from benchflow.review.log.loaded_log import LoadedLog

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

    @property
    def grade(self) -> int:
        return max((reason.grade for reason in self.reasons), default=0)

    @property
    def suspect(self) -> bool:
        """True if the worst weak point has grade :data:`SUSPECT` or more."""
        return self.grade >= SUSPECT


class Review(Struct, frozen=True):
    """The answer to one complaint.

    ``complaint`` is the text of a failure, a search, or :data:`EVERYTHING`. ``guards`` are the steps that should have
    prevented it, the weakest first; ``not_here`` the titles of such operations that this build's options leave out.
    """

    complaint: str
    failures: tuple[Failure, ...]  # all failures that the procedure lists
    guards: tuple[ReviewedStep, ...]
    not_here: tuple[str, ...]
    rule: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def suspects(self) -> tuple[ReviewedStep, ...]:
        return tuple(guard for guard in self.guards if guard.suspect)


def review_failure(log: LoadedLog, failure: Failure, shop: "Shop | None" = None) -> Review:
    """The steps that should have prevented one of the procedure's failures."""
    names = {failure.id}
    chosen = [step for step in log.plan.steps.values() if names & set(_prevented_failures(step))]
    written = [
        operation.title
        for operation in log.procedure.operations
        if failure.id in {ref.name for ref in operation.guards_against}
        and not any(step.operation.number == operation.number for step in chosen)
    ]
    return _review_of_steps(log, failure.text, chosen, tuple(written), shop)


def review_search(log: LoadedLog, text: str, shop: "Shop | None" = None) -> Review:
    """The steps that contain every word of ``text``: in their title, instruction, cautions, values, checks, joint,
    parts, notes, or in the failures that they guard against."""
    words = text.casefold().split()
    chosen = [
        step for step in log.plan.steps.values() if words and all(word in _searchable_text(log, step) for word in words)
    ]
    return _review_of_steps(log, f"search: {clean(text)}", chosen, (), shop)


def review_everything(log: LoadedLog, shop: "Shop | None" = None) -> Review:
    """Every step of the build, for any complaint."""
    return _review_of_steps(log, EVERYTHING, log.plan.steps.values(), (), shop)


def find_failure(log: LoadedLog, text: str) -> Failure | None:
    """The failure whose id or text is ``text``, or whose text begins with it; ``None`` if none or several fit."""
    searched = text.casefold().strip()
    failures = log.procedure.failures
    for failure in failures:
        if searched in (failure.id.casefold(), failure.text.casefold()):
            return failure
    found = [f for f in failures if searched and f.text.casefold().startswith(searched)]
    return found[0] if len(found) == 1 else None


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


def _review_of_steps(
    log: LoadedLog, complaint: str, steps: Iterable[Step], not_here: tuple[str, ...], shop: "Shop | None"
) -> Review:
    guards = [*_whole_job(log, shop), *(_reviewed_step(log, step, shop) for step in steps)]
    # The sort is stable: equally weak steps keep the order of the procedure.
    guards.sort(key=lambda guard: weakness(guard.reasons), reverse=True)
    return Review(complaint, log.procedure.failures, tuple(guards), not_here, rule(), log.warnings)


def _whole_job(log: LoadedLog, shop: "Shop | None") -> Iterator[ReviewedStep]:
    """The weak points that belong to no step, as one entry; nothing if there are none."""
    reasons = worst_first(job_points(log, shop))
    if reasons:
        first = next((reason.seq for reason in reasons if reason.seq is not None), None)
        yield ReviewedStep("", 0, WHOLE_JOB, "", (), log.facts.session.closed, reasons, (), first, 0)


def _reviewed_step(log: LoadedLog, step: Step, shop: "Shop | None") -> ReviewedStep:
    reasons = worst_first(weak_points_of(log, step, shop))
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
    )


def text_of(log: LoadedLog, operation: str) -> str:
    """The lines of one step in the procedure text of the log."""
    step = log.plan.steps[operation]
    start = step.operation.mark.line
    lines = log.procedure_text.splitlines()
    later = [o.mark.line for o in log.procedure.operations if o.mark.line > start]
    later += [s.mark.line for s in log.procedure.sections if s.mark.line > start]
    end = min(later, default=len(lines) + 1)
    return "\n".join(lines[max(start - 1, 0) : end - 1]).rstrip()
