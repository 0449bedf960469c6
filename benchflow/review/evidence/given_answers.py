"""Reads the answers to the first questions as they were typed. The rules are those of the intent `complaint`."""

from benchflow.session.intents.come_back_intents import first_answers
from benchflow.session.intents.intent_types import ReportComplaint
from benchflow.session.refusal import Refusal
from benchflow.session.state.come_back_events import FirstAnswers


def answers_given(given: dict[str, str]) -> FirstAnswers | Refusal:
    """The answers in ``given``, by the names of the questions; a refusal with every answer that cannot be read."""
    return first_answers(ReportComplaint(text="-", **given))
