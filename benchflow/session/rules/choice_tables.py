"""Choices of parts by a table: the parts that it proposes, and the reasons why a choice is not complete."""

from collections.abc import Iterator
from fractions import Fraction

from msgspec import Struct

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import PartChoice
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity, base, base_of_difference, show
from benchflow.session.refusal import Reason
from benchflow.session.rules.calculated_values import calculated_quantity
from benchflow.session.rules.choice_waivers import choice_waiver
from benchflow.session.rules.verdicts import from_stored, last_attempts
from benchflow.session.state.state import Attempt, State
from benchflow.trade.decision_rules import GUARD_FACTOR


class TableProposal(Struct, frozen=True):
    """The parts that a table proposes.

    If there is one part, it is right. If there are several, the builder chooses one. If there is none, ``note`` has the
    reason.
    """

    takes: tuple[str, ...]
    note: str = ""


def table_proposal(state: State, step: Step, choose: PartChoice) -> TableProposal:
    """The parts that the table proposes for the readings that it looks up."""
    values = lookup_values(state, step, choose.by)
    if not values:
        return TableProposal((), f"{choose.by} is not entered yet")
    takes: list[str] = []
    for value, spread in values:
        found = _matching_parts(choose, value, spread)
        if not found:
            return TableProposal((), f"{show(value)} is outside the table. Ask the maker, or sign a deviation")
        takes += [take for take in found if take not in takes]
    if len(takes) == 1:
        return TableProposal((takes[0],))
    return TableProposal(tuple(takes), "The readings are in more than one row. Choose one")


def lookup_values(state: State, step: Step, name: str) -> list[tuple[Quantity, Fraction]]:
    """The values to look up in a table, each with the half-width of its guard band in the base unit.

    ``name`` is a recorded or calculated value. The list is empty while a reading is missing.
    """
    for candidate in (str(ValueRef(name, step.place)), name):
        found = state.plan.record(candidate)
        if found is not None:
            attempts = last_attempts(state, found.step.id, candidate)
            if any(slot not in attempts for slot in found.record.slots):
                return []
            return [_with_guard_band(attempts[slot]) for slot in found.record.slots]
    calculated = calculated_quantity(state, name)
    return [] if calculated is None else [(calculated, Fraction(0))]


def _with_guard_band(attempt: Attempt) -> tuple[Quantity, Fraction]:
    u = attempt.uncertainty
    guard = Fraction(0) if u is None else GUARD_FACTOR * base_of_difference(from_stored(u))
    return from_stored(attempt.quantity), guard


def _matching_parts(choose: PartChoice, value: Quantity, spread: Fraction) -> list[str]:
    """The parts of the rows that may apply: one, or two if the guard band includes the edge between them."""
    exact = base(value)
    lower = None if choose.above is None else base(choose.above)
    if lower is not None and exact <= lower:
        return []
    found: list[str] = []
    for band in choose.bands:
        upper = base(band.up_to)
        if (lower is None or exact + spread > lower) and exact - spread <= upper:
            found.append(band.take)
        lower = upper
    return found if exact <= base(choose.bands[-1].up_to) else []


def choice_reasons(state: State, step: Step) -> Iterator[Reason]:
    """Every reason why a choice of ``step`` is not complete: nothing is chosen, or the table proposes another part."""
    work = state.work(step.id)
    for choose in step.operation.choose:
        title, taken = choose.title or choose.name, work.chosen.get(choose.name)
        if taken is None:
            message = f"{title} is not chosen yet"
            yield Reason("value-missing", message, operation=step.id, name=choose.name)
            continue
        proposal = table_proposal(state, step, choose)
        if taken not in proposal.takes and choice_waiver(state, step, choose) is None:
            expected = f"the table gives {' or '.join(proposal.takes)}" if proposal.takes else proposal.note
            message = f"{title}: {taken} was chosen, but {expected}"
            yield Reason("out-of-limit", message, operation=step.id, name=choose.name)
