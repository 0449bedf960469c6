"""Giving measured parts to places at the bench."""

from collections.abc import Iterator

from benchflow.procedure.model import Match
from benchflow.procedure.plan import Step
from benchflow.session import intents as it
from benchflow.session.deciding import Decision, refuse
from benchflow.session.refusal import Reason
from benchflow.session.state import State


def match_place(state: State, step: Step, name: str) -> tuple[Match, str] | None:
    return None


def take_for_match(state: State, step: Step, place: tuple[Match, str], intent: it.Choose, by: str) -> Decision:
    return refuse("unknown-name", f"no such choice: {intent.name}")


def match_reasons(state: State, step: Step) -> Iterator[Reason]:
    yield from ()
