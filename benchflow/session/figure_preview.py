"""Warnings about a figure of a joint before it is given, or corrected, at the bench. Nothing is logged."""

from collections.abc import Iterator, Mapping
from typing import Any

from benchflow.session.context import Context
from benchflow.session.intents.dispatch import decide
from benchflow.session.intents.parsing import read_intent
from benchflow.session.refusal import Refusal
from benchflow.session.rules.given_figure_warnings import given_figure_warnings
from benchflow.session.rules.joint_progress import joint_progress
from benchflow.session.rules.state_after import state_after
from benchflow.session.rules.wrench_correction import stage_warnings
from benchflow.session.state.state import State


def figure_warnings(state: State, context: Context, message: Mapping[str, Any]) -> tuple[str, ...]:
    """The warnings that the intent in ``message`` brings about: a torque that breaks the fastener, an unknown thread.

    Empty if the intent would be refused: then the refusal says why.
    """
    intent = read_intent(dict(message))
    if isinstance(intent, Refusal):
        return ()
    entries = decide(state, intent, context)
    if isinstance(entries, Refusal):
        return ()
    before = set(_warnings(state))
    return tuple(dict.fromkeys(each for each in _warnings(state_after(state, entries, context)) if each not in before))


def _warnings(state: State) -> Iterator[str]:
    """The warnings about every joint that is not tightened yet."""
    for step in state.plan.steps.values():
        progress = None if step.id in state.done else joint_progress(state, step)
        if progress is not None:
            yield from given_figure_warnings(state, step, progress)
            yield from stage_warnings(state, progress)
