"""Reviews a build after a complaint in the customer's words, with the answers to the first questions."""

from typing import TYPE_CHECKING

from benchflow.base.errors import BenchflowError
from benchflow.procedure.model import Failure
from benchflow.review.evidence.assessment import Review, review_failures, review_search
from benchflow.review.evidence.complaint_matching import failures_meant
from benchflow.review.evidence.first_questions import NO_ANSWERS
from benchflow.review.evidence.shop_history import ShopHistory
from benchflow.review.evidence.symptom_words import content_words, when_in
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.session.state.come_back_events import FirstAnswers, WhenNoticed

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop


class UnknownComplaint(BenchflowError):
    """No failure of the procedure and no step has the words of the complaint."""


def review_complaint(
    log: LoadedLog,
    text: str,
    shop: "Shop | None" = None,
    *,
    answers: FirstAnswers = NO_ANSWERS,
    history: ShopHistory | None = None,
) -> Review:
    """The steps that should have prevented the complaint ``text``, in the customer's words.

    It takes the failures of the procedure that the words may mean, all of them together. If there are none, it takes
    the steps that contain the words.

    Raises:
        UnknownComplaint: nothing has the words.
    """
    answers = with_time_in_words(answers, text)
    taken = failures_meant(log.procedure.failures, text)
    if taken:
        return review_failures(log, taken, shop, asked=text, answers=answers, history=history)
    for words in (text, content_words(text)):
        found = review_search(log, words, shop, answers=answers, history=history)
        if any(guard.operation for guard in found.guards):
            return found
    raise UnknownComplaint(_unknown_text(log.procedure.failures, text))


def recorded_answers(log: LoadedLog, text: str | None) -> FirstAnswers:
    """The answers to the first questions that the log has for the complaint ``text``; ``None``: for the last complaint.

    A complaint in the log is the same if it has the same words, or may mean one of the same failures.
    """
    failures = log.procedure.failures
    meant = {match.failure.id for match in failures_meant(failures, text or "")}
    for fact in reversed(log.facts.complaints):
        same = text is None or fact.text.casefold() == text.casefold()
        if same or any(match.failure.id in meant for match in failures_meant(failures, fact.text)):
            return fact.answers
    return NO_ANSWERS


def with_time_in_words(answers: FirstAnswers, text: str) -> FirstAnswers:
    """The answers; if "hot or cold" is left open, it is taken from words such as ``rattles when cold``."""
    when: WhenNoticed = when_in(text)
    return FirstAnswers(
        answers.running, answers.since, answers.when or when, answers.touched, answers.retorque, answers.changed
    )


def _unknown_text(failures: tuple[Failure, ...], text: str) -> str:
    listed = "".join(f"\n  {failure.id:<24} {failure.text}" for failure in failures) or " none"
    return (
        f"The procedure lists no complaint like {text!r}, and no step has these words. It lists:{listed}\n"
        f"Use other words, or search the steps for one word: --search {text!r}"
    )
