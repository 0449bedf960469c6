"""The text of each event of a come-back: the complaint, and what it turned out to be."""

from collections.abc import Callable
from typing import Any, Final, cast

from benchflow.session.history.log_titles import LogTitles
from benchflow.session.state import events as ev
from benchflow.session.state.come_back_events import FirstAnswers, Outcome

OUTCOME_TEXT: Final[dict[Outcome, str]] = {
    "ours": "our work",
    "machine-shop": "machine shop",
    "part": "part",
    "customer-part": "customer's part",
    "use": "use",
    "unknown": "not found out",
}


def outcome_text(outcome: str) -> str:
    """The name of an outcome for people."""
    return OUTCOME_TEXT[cast("Outcome", outcome)]


def answers_text(answers: FirstAnswers) -> str:
    """The answers that were given, as a list: ``not running; 40 h since the build; when hot``."""
    return "; ".join(
        text
        for text in (
            {"yes": "still running", "no": "not running"}.get(answers.running, ""),
            f"{answers.since} since the build" if answers.since else "",
            f"when {answers.when}" if answers.when else "",
            f"touched since: {answers.touched}" if answers.touched else "",
            {"yes": "fasteners checked again", "no": "fasteners not checked again"}.get(answers.retorque, ""),
            f"changed: {answers.changed}" if answers.changed else "",
        )
        if text
    )


def _complaint(event: ev.ComplaintReported, titles: LogTitles) -> str:
    answers = answers_text(event.answers)
    return f"Complaint: {event.text}{f' ({answers})' if answers else ''}"


def _found(event: ev.FindingRecorded, titles: LogTitles) -> str:
    parts = [f"Come-back “{event.complaint}”: {event.finding}", f"outcome: {OUTCOME_TEXT[event.outcome]}"]
    parts += [f"step: {titles.step(event.operation)}"] if event.operation else []
    parts += [f"found on {event.date}"]
    parts += [f"{event.hours} h of work"] if event.hours else []
    parts += [f"replaces the finding of event {event.replaces}"] if event.replaces is not None else []
    return "; ".join(parts)


COME_BACK_TEXTS: dict[type[ev.Event], Callable[[Any, LogTitles], str]] = {
    ev.ComplaintReported: _complaint,
    ev.FindingRecorded: _found,
    ev.FindingWithdrawn: lambda event, titles: f"Finding of event {event.event} withdrawn; reason: {event.reason}",
}
"""The function that makes the text, for every type of event of a come-back."""
