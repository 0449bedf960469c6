"""Handlers of the intents `open` and `close`."""

from benchflow.base.plaintext import clean
from benchflow.procedure.model import Procedure
from benchflow.session.context import Context, Decision, Entry, refuse_all, unknown
from benchflow.session.intents import intent_types as it
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.action_reasons import close_reasons
from benchflow.session.rules.signatures import allowed
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def open_job(procedure: Procedure, intent: it.Open, context: Context, record_of: ev.Opened) -> Decision:
    """The ``opened`` event of a new job. ``record_of`` is that event without the answers."""
    reasons: list[Reason] = []
    by = clean(intent.by or "").strip() or ("" if context.shop is None else context.shop.defaults.by)
    if not by:
        reasons.append(Reason("value-missing", "Enter the name of the builder", name="by"))
    reasons += _answers("option", {option.name: option.choices for option in procedure.options}, intent.options)
    asked = {variable.name: variable.values for variable in procedure.state if variable.start is None}
    fixed = {variable.name for variable in procedure.state} - set(asked)
    for name, value in intent.start.items():
        if name in fixed:
            reasons.append(Reason("not-allowed", f"{name} has a fixed start value; do not give one", state=name))
        elif name not in asked:
            reasons += unknown("variable", name, asked).refused
        elif value is not None and value not in asked[name]:
            reasons += unknown(f"value of {name}", value, asked[name]).refused
    if reasons:
        return Refusal(tuple(reasons))
    refusal = allowed(context.shop, by, None, None)
    if refusal is not None:
        return refusal
    start = {v.name: intent.start.get(v.name) if v.start is None else v.start for v in procedure.state}
    event = ev.Opened(
        procedure=record_of.procedure,
        procedure_sha256=record_of.procedure_sha256,
        file=record_of.file,
        options=dict(intent.options),
        start=start,
        unit=clean(intent.unit).strip(),
        version=record_of.version,
        simulated=record_of.simulated,
        format=record_of.format,
        shop=record_of.shop,
    )
    return (Entry(by, event),)


def _answers(what: str, known: dict[str, tuple[str, ...]], given: dict[str, str]) -> list[Reason]:
    reasons: list[Reason] = []
    for name, value in given.items():
        if name not in known:
            reasons += unknown(what, name, known).refused
        elif value not in known[name]:
            reasons += unknown(f"choice of {name}", value, known[name]).refused
    for name, choices in known.items():
        if name not in given:
            reasons.append(Reason("value-missing", f"Answer the {what} {name}: {' or '.join(choices)}", name=name))
    return reasons


def close_job(state: State, intent: it.Close, context: Context, by: str) -> Decision:
    refusal = refuse_all(close_reasons(state, bool(intent.unfinished.strip())))
    if refusal is not None:
        return refusal
    unfinished = tuple(name for name in state.plan.steps if name not in state.done)
    return (Entry(by, ev.Closed(unfinished, clean(intent.unfinished).strip())),)
