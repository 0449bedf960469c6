"""What the tables of an operation propose, and what a choice still lacks."""

from collections.abc import Iterator
from fractions import Fraction

from msgspec import Struct

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import PartChoice
from benchflow.procedure.plan import Step
from benchflow.quantity import Quantity, base, show
from benchflow.session.refusal import Reason
from benchflow.session.rules.calculated_values import calculated_quantity
from benchflow.session.rules.verdicts import from_stored, last_attempts
from benchflow.session.state.state import State
from benchflow.trade.decision_rules import GUARD_FACTOR
from benchflow.trade.rounding import width


class TableProposal(Struct, frozen=True):
    """What the table gives. One ``take``: that is it. Several: the builder says. None: see ``note``."""

    takes: tuple[str, ...]
    note: str = ""


def table_proposal(state: State, step: Step, choose: PartChoice) -> TableProposal:
    values = lookup_values(state, step, choose.by)
    if not values:
        return TableProposal((), f"{choose.by} is not there yet")
    takes: list[str] = []
    for value, spread in values:
        found = _bands(choose, value, spread)
        if not found:
            return TableProposal((), f"{show(value)} is outside the table. Ask the maker, or sign a deviation")
        takes += [take for take in found if take not in takes]
    if len(takes) == 1:
        return TableProposal((takes[0],))
    return TableProposal(tuple(takes), "the readings are in more than one row. Choose one")


def lookup_values(state: State, step: Step, name: str) -> list[tuple[Quantity, Fraction]]:
    """The values to look up, each with half the width in which its uncertainty leaves it undecided."""
    for candidate in (str(ValueRef(name, step.place)), name):
        found = state.plan.record(candidate)
        if found is not None:
            record = found.record
            attempts = last_attempts(state, found.step.id, candidate)
            if any(slot not in attempts for slot in record.slots):
                return []
            return [
                (
                    from_stored(attempts[slot].quantity),
                    Fraction(0)
                    if attempts[slot].uncertainty is None
                    else GUARD_FACTOR * width(from_stored(attempts[slot].uncertainty)),  # type: ignore[arg-type]  # not None on this branch
                )
                for slot in record.slots
            ]
    worked = calculated_quantity(state, step, name)
    return [] if worked is None else [(worked, Fraction(0))]


def _bands(choose: PartChoice, value: Quantity, spread: Fraction) -> list[str]:
    """The rows that the value may belong to: one, or two where the uncertainty reaches over an edge."""
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
    work = state.work(step.id)
    for choose in step.operation.choose:
        taken = work.chosen.get(choose.name)
        if taken is None:
            message = f"{choose.title or choose.name} is not chosen yet"
            yield Reason("value-missing", message, operation=step.id, name=choose.name)
            continue
        given = table_proposal(state, step, choose)
        if taken not in given.takes and choose.name not in work.deviations:
            wanted = " or ".join(given.takes) or given.note
            message = f"{choose.title or choose.name}: {taken} was taken, the table says {wanted}"
            yield Reason("out-of-limit", message, operation=step.id, name=choose.name)
