"""It came back. What guarded against it, and how strong is the evidence: the weakest first, in words.

The rule is in :mod:`benchflow.review.evidence.ranking`. Everything is computed from the one log; no index is needed.
"""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from msgspec import Struct

from benchflow.base.plaintext import clean
from benchflow.procedure.model import Failure
from benchflow.procedure.plan import Step
from benchflow.review.evidence.ranking import SUSPECT, WeakPoint, rule, weakness, worst_first
from benchflow.review.evidence.recorded_evidence import Evidence, evidence_of
from benchflow.review.evidence.weak_points import reasons_for
from benchflow.review.log.loaded_log import LoadedLog

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop


class ReviewedStep(Struct, frozen=True):
    """An operation that was to keep the complaint from happening.

    ``reasons`` are what is weak about it, the worst first; ``known`` what the log knows. ``seq`` is the event
    to look at first (of the worst reason, else of its finishing), ``line`` where the procedure's text has it.
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
        """Whether anything is held against it."""
        return self.grade >= SUSPECT


class Review(Struct, frozen=True):
    """``complaint`` is what was asked, in words: a failure's text, the search, or that everything was looked
    at. ``not_here`` are guards that this build's options left out."""

    complaint: str
    failures: tuple[Failure, ...]  # what may be asked
    guards: tuple[ReviewedStep, ...]
    not_here: tuple[str, ...]
    rule: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def suspects(self) -> tuple[ReviewedStep, ...]:
        return tuple(guard for guard in self.guards if guard.suspect)


def by_failure(log: LoadedLog, failure: Failure, shop: "Shop | None" = None) -> Review:
    """What guarded against one of the procedure's failures."""
    names = {failure.id}
    chosen = [step for step in log.plan.steps.values() if names & set(_guarded(step))]
    written = [
        operation.title
        for operation in log.procedure.operations
        if failure.id in {ref.name for ref in operation.guards_against}
        and not any(step.operation.number == operation.number for step in chosen)
    ]
    return _review(log, failure.text, chosen, tuple(written), shop)


def by_search(log: LoadedLog, text: str, shop: "Shop | None" = None) -> Review:
    """The operations that speak of every word in ``text``: in title, instruction, cautions, values, checks,
    joint, parts used, notes, or the failures that they guard against."""
    words = text.casefold().split()
    chosen = [step for step in log.plan.steps.values() if words and all(word in _haystack(log, step) for word in words)]
    return _review(log, f"search: {clean(text)}", chosen, (), shop)


def of_everything(log: LoadedLog, shop: "Shop | None" = None) -> Review:
    """Every operation of the build, whatever came back."""
    return _review(log, "everything", log.plan.steps.values(), (), shop)


def find_failure(log: LoadedLog, text: str) -> Failure | None:
    """The failure that ``text`` names: its id, or its words, whole or as they begin."""
    wanted = text.casefold().strip()
    failures = log.procedure.failures
    for failure in failures:
        if wanted in (failure.id.casefold(), failure.text.casefold()):
            return failure
    begun = [f for f in failures if wanted and f.text.casefold().startswith(wanted)]
    return begun[0] if len(begun) == 1 else None


def _guarded(step: Step) -> tuple[str, ...]:
    return tuple(ref.name for ref in step.operation.guards_against)


def _haystack(log: LoadedLog, step: Step) -> str:
    operation = step.operation
    texts = dict.fromkeys(_guarded(step))
    failures = (failure.text for failure in log.procedure.failures if failure.id in texts)
    kit = (item.title for item in log.procedure.kit if item.id in {ref.name for ref in operation.uses})
    joints = (j.title or j.id for j in log.procedure.joints if operation.tighten and j.id == operation.tighten.joint)
    notes = (note.text for note in log.facts.notes if note.operation == step.id)
    parts: Iterable[str] = (
        step.id, operation.title, operation.do, operation.because, *(c.text for c in operation.cautions),
        *(f"{r.name} {r.ask}" for r in operation.record), *(f"{w.name} {w.title}" for w in operation.work_out),
        *operation.check, *_guarded(step), *failures, *kit, *joints, *notes,
    )  # fmt: skip
    return " ".join(parts).casefold()


def _review(
    log: LoadedLog, complaint: str, steps: Iterable[Step], not_here: tuple[str, ...], shop: "Shop | None"
) -> Review:
    guards = [_reviewed_step(log, step, shop) for step in steps]
    # Sorting is stable: what is equally weak stays in the author's order.
    guards.sort(key=lambda guard: weakness(guard.reasons), reverse=True)
    return Review(complaint, log.procedure.failures, tuple(guards), not_here, rule(), log.warnings)


def _reviewed_step(log: LoadedLog, step: Step, shop: "Shop | None") -> ReviewedStep:
    reasons = worst_first(reasons_for(log, step, shop))
    finished = log.state.done.get(step.id)
    sections = {section.id: section.title for section in log.procedure.sections}
    first = next((reason.seq for reason in reasons if reason.seq is not None), None)
    return ReviewedStep(
        operation=step.id,
        number=log.plan.number(step.id),
        title=step.title,
        section=sections.get(step.operation.section, step.operation.section),
        guards_against=_guarded(step),
        done=finished is not None,
        reasons=reasons,
        known=evidence_of(log, step),
        seq=first if first is not None else finished.seq if finished is not None else None,
        line=step.operation.mark.line,
    )


def text_of(log: LoadedLog, operation: str) -> str:
    """The procedure's text of one operation, as it was that day: its lines in the author's file."""
    step = log.plan.steps[operation]
    start = step.operation.mark.line
    lines = log.procedure_text.splitlines()
    later = [o.mark.line for o in log.procedure.operations if o.mark.line > start]
    later += [s.mark.line for s in log.procedure.sections if s.mark.line > start]
    end = min(later, default=len(lines) + 1)
    return "\n".join(lines[max(start - 1, 0) : end - 1]).rstrip()
