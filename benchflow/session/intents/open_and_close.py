"""Handlers of the intents `open` and `close`."""

from msgspec.structs import replace

from benchflow.base.plaintext import clean
from benchflow.procedure.evidence import ANYONE, NEVER
from benchflow.procedure.model import Procedure
from benchflow.session.context import Context, Decision, Entry, refusal_or_none, refuse, unknown_name
from benchflow.session.intents import intent_types as intents
from benchflow.session.intents.taking_over import blank_for_continued
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.action_reasons import close_reasons
from benchflow.session.rules.signatures import may_not_sign
from benchflow.session.state import events as ev
from benchflow.session.state.state import State


def open_job(procedure: Procedure, intent: intents.OpenJob, context: Context, blank: ev.JobOpened) -> Decision:
    """Return the ``opened`` event of a new job: ``blank`` with the options, the start values and the unit filled in.

    In a job that continues another log, every state variable is asked: only the engine says how far it is built.
    """
    found = blank_for_continued(blank, intent)
    if isinstance(found, Refusal):
        return found
    blank, continued = found, found.continues is not None
    options = {**blank.options, **intent.options}
    given = _by_variable(procedure, intent.start)
    by = clean(intent.by or "").strip() or ("" if context.shop is None else context.shop.defaults.by)
    reasons: list[Reason] = []
    if not by:
        reasons.append(Reason("value-missing", "Enter the name of the builder", name="by"))
    reasons += _option_reasons(procedure, options)
    reasons += _start_value_reasons(procedure, given, ask_all=continued)
    if reasons:
        return Refusal(tuple(reasons))
    refusal = may_not_sign(None, context, by, None, None) or _start_value_refusal(procedure, given, context, by)
    if refusal is not None:
        return refusal
    start = {
        variable.name: given.get(variable.name) if variable.start is None or continued else variable.start
        for variable in procedure.state
    }
    event = replace(blank, options=options, start=start, unit=clean(intent.unit).strip() or blank.unit)
    return (Entry(by, event),)


def _by_variable(procedure: Procedure, given: dict[str, str | None]) -> dict[str, str | None]:
    """The start values by variable. ``pushrod`` and ``pushrod[*]`` give the value of every place without its own."""
    found: dict[str, str | None] = {}
    for name, value in sorted(given.items(), key=lambda entry: len(procedure.variables_named(entry[0])), reverse=True):
        variables = procedure.variables_named(name)
        found |= {variable.name: value for variable in variables} or {name: value}
    return found


def _option_reasons(procedure: Procedure, given: dict[str, str]) -> list[Reason]:
    """Return what is wrong with the options of a new job."""
    choices = {option.name: option.choices for option in procedure.options}
    reasons: list[Reason] = []
    for name, choice in given.items():
        if name not in choices:
            reasons += unknown_name("option", name, choices).refused
        elif choice not in choices[name]:
            reasons += unknown_name(f"choice of {name}", choice, choices[name]).refused
    for name, allowed in choices.items():
        if name not in given:
            message = f"The option {name} is missing. Choose {' or '.join(allowed)}"
            reasons.append(Reason("value-missing", message, name=name))
    return reasons


def _start_value_reasons(procedure: Procedure, given: dict[str, str | None], *, ask_all: bool) -> list[Reason]:
    """Return what is wrong with the start values of a new job. A value that is not given is not known.

    With ``ask_all`` every variable is asked, also those whose start value the procedure sets.
    """
    asked = {variable.name: variable.values for variable in procedure.state if variable.start is None or ask_all}
    reasons: list[Reason] = []
    for name, value in given.items():
        if name in asked:
            if value is not None and value not in asked[name]:
                reasons += unknown_name(f"value of {name}", value, asked[name]).refused
        elif name in procedure.variables_by_name:
            message = f"The procedure sets the start value of {name}. Remove it from the start values"
            reasons.append(Reason("not-allowed", message, state=name))
        else:
            reasons += unknown_name("variable", name, asked).refused
    return reasons


def _start_value_refusal(
    procedure: Procedure, given: dict[str, str | None], context: Context, by: str
) -> Refusal | None:
    """A refusal of a start value that ``by`` could not enter as found later (`found` names a role)."""
    for variable in procedure.state:
        role, value = variable.found, given.get(variable.name)
        if value is None or role in ("", ANYONE, NEVER):
            continue
        refusal = may_not_sign(None, context, by, role, None, ask_pin=True)
        if refusal is not None:
            message = (
                f"{refusal.refused[0].message} {variable.name} is entered by the {role}. Leave it out at the start. It "
                "is then not known until it is entered as found"
            )
            return refuse("not-allowed", message, state=variable.name, name=by)
    return None


def close_job(state: State, intent: intents.CloseJob, context: Context, by: str) -> Decision:
    reason = clean(intent.unfinished).strip()
    refusal = refusal_or_none(close_reasons(state, bool(reason)))
    if refusal is not None:
        return refusal
    unfinished = tuple(step_id for step_id in state.plan.steps if step_id not in state.done)
    return (Entry(by, ev.JobClosed(unfinished, reason)),)
