"""Writes a review as lines of text for a terminal."""

from collections.abc import Iterator

from benchflow.ordering.wording import in_a_sentence
from benchflow.review.evidence.assessment import EVERYTHING, Review, ReviewedStep
from benchflow.review.evidence.shop_cases import CASES_NEEDED, EarlierCases
from benchflow.review.formatting import count
from benchflow.review.log.facts import CauseFact
from benchflow.session.history.come_back_text import answers_text, outcome_text

_FEW = 12
"""Up to this number, the steps without weak points are listed. If there are more, only their number is shown."""


def review_lines(review: Review, *, every: bool = False) -> Iterator[str]:
    """The suspect steps with their weak points and evidence, and the other steps in one line each.

    ``every`` shows all steps with their weak points and evidence.
    """
    yield from (f"NOTE  {warning}" for warning in review.warnings)
    yield from (f"{caution.signal.upper()}: {caution.text}" for caution in review.cautions)
    yield from subject_lines(review)
    yield from (finding_text(cause) for cause in review.findings)
    yield summary(review)
    for step in review.guards:
        if step.suspect or every:
            yield ""
            yield from _step_lines(step, review.cases)
    others = [step for step in review.guards if not step.suspect]
    if others and not every:
        yield ""
        yield from _sound_lines(others, review.cases)
    if review.not_here:
        yield ""
        yield f"Not part of this build: {', '.join(review.not_here)}."
    if review.complaint != EVERYTHING:
        yield ""
        yield elsewhere_text(review)
    if review.cases is not None:
        yield cases_text(review.cases)
        yield outcomes_text(review.cases)


def _sound_lines(others: list[ReviewedStep], cases: EarlierCases | None) -> Iterator[str]:
    notes = [step for step in others if not step.operation]
    for step in notes:
        yield f"{step.title}: {'; '.join(point.words for point in step.reasons)}"
    others = [step for step in others if step.operation]
    if not others:
        return
    if notes:
        yield ""
    yield "Steps that look sound:"
    named = [step for step in others if step.reasons or step.cases or len(others) <= _FEW]
    for step in named:
        known = step.reasons[0].words if step.reasons else "no weak point"
        earlier = cases_of_step(step, cases)
        yield f"  {number_text(step)}  {step.title} ({known}{f'; {earlier}' if earlier else ''})"
    if len(named) < len(others):
        rest = len(others) - len(named)
        others_text = f"and {rest} more" if named else count(rest, "step")
        yield f"  {others_text} without a weak point (--all shows {'it' if rest == 1 else 'them'})"


def number_text(step: ReviewedStep) -> str:
    """The number of the step in three columns; blank for the whole job."""
    return f"{step.number:>3}" if step.operation else "   "


def subject_lines(review: Review) -> Iterator[str]:
    """What is reviewed: the complaint with the failures that it may mean, and the answers to the first questions."""
    if review.complaint == EVERYTHING:
        yield "No complaint was named. All steps of the build are reviewed."
    elif not review.taken:
        yield review.complaint[:1].upper() + review.complaint[1:]
    elif len(review.taken) == 1 and not review.asked:
        yield f"Complaint: {review.complaint}"
    elif len(review.taken) == 1:
        same = review.asked.casefold() in (review.complaint.casefold(), review.taken[0].failure.id.casefold())
        yield f"Complaint: {review.complaint}" if same else f"Complaint: {review.asked} → {review.complaint}"
    else:
        yield f"Complaint: {review.asked}. It may mean {len(review.taken)} complaints of the procedure, best first:"
        yield from (f"  {match.failure.text} ({', '.join(match.words)})" for match in review.taken)
    answers = answers_text(review.answers)
    if answers:
        yield f"Answers: {answers}"


def summary(review: Review) -> str:
    """How many of the steps are suspect, as one sentence."""
    which = " that should have prevented it" if review.taken else ""
    steps = [step for step in review.guards if step.operation]
    suspects = sum(step.suspect for step in steps)
    job = next((step for step in review.guards if step.suspect and not step.operation), None)
    reason = in_a_sentence(job.reasons[0].title) if job is not None else ""
    also = f" The whole job is suspect too: {reason}." if job is not None else ""
    if not steps:
        if review.not_here:
            return f"The steps{which} are not part of this build.{also}"
        return f"No step of this build {'should have prevented it' if which else 'was found'}.{also}"
    if suspects:
        verb, order = ("is", "") if suspects == 1 else ("are", ", the weakest first")
        return f"{suspects} of {count(len(steps), 'step')}{which} {verb} suspect{order}.{also}"
    sound = f"The step{which or ' found'} looks" if len(steps) == 1 else f"All {len(steps)} steps{which} look"
    if job is None:
        return f"{sound} sound."
    return f"{sound} sound, but something that belongs to no single step is suspect: {reason}."


def elsewhere_text(review: Review) -> str:
    """One line about the weakest other step of the build."""
    if review.elsewhere is None:
        return "Elsewhere in this build: no other step is suspect."
    return review.elsewhere.words


def finding_text(cause: CauseFact) -> str:
    """One line about what a come-back of this job turned out to be."""
    step = f", at “{cause.title}”" if cause.title else ""
    return f"Found on {cause.date} for “{cause.complaint}”: {cause.finding}{step} ({outcome_text(cause.outcome)})"


def cases_text(cases: EarlierCases) -> str:
    """One line about the shop's earlier come-backs with the same complaint, by step."""
    found = [f"{each.cases} of {cases.total} {each.title}" for each in cases.steps]
    found += [f"{cases.without_step} of {cases.total} no step of this build"] if cases.without_step else []
    few = "" if cases.counts else f". Fewer than {CASES_NEEDED}, so the order stays"
    return f"Earlier come-backs with this complaint: {'; '.join(found)}{few}."


def outcomes_text(cases: EarlierCases) -> str:
    """The outcomes of the earlier come-backs, as one line."""
    outcomes = ", ".join(f"{number} {outcome_text(name)}" for name, number in cases.outcomes.items())
    return f"Their outcomes: {outcomes}."


def cases_of_step(step: ReviewedStep, cases: EarlierCases | None) -> str:
    """``3 of 4 earlier come-backs with this complaint``; "" if there are none of this step."""
    if cases is None or not step.cases:
        return ""
    return f"{step.cases} of {cases.total} earlier come-backs with this complaint were found to be of this step"


def _step_lines(step: ReviewedStep, cases: EarlierCases | None) -> Iterator[str]:
    yield f"{number_text(step)}  {step.title}{f'  [{step.operation}]' if step.operation else ''}"
    for point in step.reasons:
        where = f"  (log line {point.seq})" if point.seq is not None else ""
        yield f"     {point.grade:>3}  {point.title.upper()}: {point.words}{where}"
    for adjustment in step.adjustments:
        yield f"     {adjustment.by:>+3}  {adjustment.words}"
    if step.cases and not (cases is not None and cases.counts and step.reasons):
        yield f"          {cases_of_step(step, cases)}"
    for evidence in step.known:
        yield f"          {evidence.words}"
