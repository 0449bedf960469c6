"""Warnings about a figure before it is given, or corrected, at the bench. Nothing is logged."""

from collections.abc import Iterator, Mapping
from typing import Any

from benchflow.quantity import Limit, QuantityError, parse_limit, show_limit
from benchflow.session.context import Context
from benchflow.session.intents.dispatch import decide
from benchflow.session.intents.intent_types import GiveFigure
from benchflow.session.intents.parsing import read_intent
from benchflow.session.refusal import Refusal
from benchflow.session.rules.given_figure_warnings import given_figure_warnings
from benchflow.session.rules.joint_progress import joint_progress
from benchflow.session.rules.state_after import state_after
from benchflow.session.rules.wrench_correction import stage_warnings
from benchflow.session.state.state import State


def figure_warnings(state: State, context: Context, message: Mapping[str, Any]) -> tuple[str, ...]:
    """The warnings that the intent in ``message`` brings about.

    For example a torque that breaks the fastener, an unknown thread, or a limit that is one quantity.

    Empty if the intent would be refused: then the refusal says why.
    """
    intent = read_intent(dict(message))
    if isinstance(intent, Refusal):
        return ()
    entries = decide(state, intent, context)
    if isinstance(entries, Refusal):
        return ()
    nominal = _nominal_warning(state, intent) if isinstance(intent, GiveFigure) else ""
    if nominal:
        return (nominal,)
    before = set(_warnings(state))
    return tuple(dict.fromkeys(each for each in _warnings(state_after(state, entries, context)) if each not in before))


def _nominal_warning(state: State, intent: GiveFigure) -> str:
    """What a limit means that is one quantity, such as ``0.1 bar``: it has a low end too; "" for any other figure."""
    values = state.plan.values(intent.name) if intent.name is not None else ()
    if not values:
        return ""
    try:
        limit = parse_limit(intent.value, unit=values[0].unit)
    except QuantityError:
        return ""
    if limit.nominal is None:
        return ""
    figure, band = intent.value.strip(), show_limit(Limit(limit.low, limit.high, ""))
    return (
        f"{figure} alone means {band}. If less is good too, write “at most {figure}”; if more is, “at least {figure}”."
    )


def _warnings(state: State) -> Iterator[str]:
    """The warnings about every joint that is not tightened yet."""
    for step in state.plan.steps.values():
        progress = None if step.id in state.done else joint_progress(state, step)
        if progress is not None:
            yield from given_figure_warnings(state, step, progress)
            yield from stage_warnings(state, progress)
