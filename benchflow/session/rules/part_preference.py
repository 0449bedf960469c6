"""The parts that a matching prefers (`prefer`), and whether another one was chosen without a reason.

A part is preferred if no other choice for its place, with the parts of the other places as they are chosen, gives a
better assignment. Only parts count that satisfy the limit by its decision rule.
"""

from collections.abc import Iterator, Mapping
from fractions import Fraction

from msgspec import Struct

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import PartMatching, Preference
from benchflow.procedure.plan import Step
from benchflow.quantity import base, show, show_short
from benchflow.session.context import refuse
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.choice_waivers import match_entries, match_waiver
from benchflow.session.rules.measurements import Measurement, exact_measurement
from benchflow.session.rules.part_matching import (
    RequiredSize,
    fitted_part,
    part_measurements,
    required_sizes,
    size_measurement,
    unit_of_parts,
)
from benchflow.session.state.state import State
from benchflow.trade.preferred_parts import OpenPlace, PreferredParts, SizedPart, distance, preferred_parts
from benchflow.trade.rounding import in_unit

MOST_SIZES = 2000
"""The largest number of sizes that are tried for one place."""


class Preferring(Struct, frozen=True):
    """What the preferred parts of one matching depend on: the parts on hand, and the sizes that each place needs."""

    state: State
    step: Step
    match: PartMatching
    parts: Mapping[str, Measurement]
    required: Mapping[str, RequiredSize]

    @property
    def unit(self) -> str:
        return unit_of_parts({name: one.shown for name, one in self.parts.items()})

    def fits(self, place: str, size: Measurement) -> bool:
        """True if a part of this size satisfies the limit at a place, by the decision rule."""
        fitted = fitted_part(self.state, self.step, self.match, place, size)
        return fitted is not None and fitted.verdict == "ok"

    def sized(self, part: str) -> SizedPart | None:
        """A part on hand, or the size of one to buy, as text."""
        found = size_measurement(self.parts, part)
        return None if found is None else SizedPart(part if part in self.parts else "", found.exact)

    def best(self, places: tuple[str, ...], taken: frozenset[str]) -> PreferredParts:
        """The preferred parts of ``places``, while the parts ``taken`` are used elsewhere."""
        free = [SizedPart(name, one.exact) for name, one in self.parts.items() if name not in taken]
        return preferred_parts(free, [self._open_place(place, taken) for place in places], _prefer(self.match))

    def _open_place(self, place: str, taken: frozenset[str]) -> OpenPlace:
        fits = {name for name, one in self.parts.items() if name not in taken and self._within(place, one.exact)}
        fits = {name for name in fits if self.fits(place, self.parts[name])}
        return OpenPlace(place, frozenset(fits), self._size_to_buy(place), self.aim(place), place)

    def aim(self, place: str) -> Fraction | None:
        """The best size for a place, in the base unit: that of `aim`, else the middle of the sizes that fit.

        ``None`` if there is no `aim` and the sizes have only one end.
        """
        size = self.required[place]
        if size.aim is not None:
            return base(size.aim)
        ends = [base(end) for end in (size.low, size.high) if end is not None]
        return sum(ends, Fraction(0)) / 2 if len(ends) == 2 else None

    def _within(self, place: str, size: Fraction) -> bool:
        """True if a size is within the ends for a place. At an end it may still be too large or too small."""
        low, high = self.required[place].low, self.required[place].high
        return (low is None or base(low) <= size) and (high is None or size <= base(high))

    def _size_to_buy(self, place: str) -> Fraction | None:
        """The preferred size that can be bought for a place; ``None`` if none fits."""
        sizes = self.match.sizes
        if sizes is None:
            return None
        first, step = base(sizes.first), base(sizes.step)
        count = int((base(sizes.last) - first) // step)
        low, high = self.required[place].low, self.required[place].high
        lowest = max(0, -((first - base(low)) // step)) if low is not None else 0
        highest = min(count, (base(high) - first) // step) if high is not None else count
        numbers = list(range(lowest, highest + 1))[:MOST_SIZES]
        if self.match.prefer == "thickest":
            numbers = list(range(highest, lowest - 1, -1))[:MOST_SIZES]
        elif self.match.prefer == "nearest" and (aim := self.aim(place)) is not None:
            numbers = sorted(numbers, key=lambda number: abs(first + number * step - aim))
        for number in numbers:
            size = in_unit(first + number * step, self.unit)
            if self.fits(place, exact_measurement(size)):
                return first + number * step
        return None


def preferring(state: State, step: Step, match: PartMatching) -> Preferring | None:
    """What the preferred parts depend on; ``None`` without `prefer`, or while a reading is missing."""
    parts = part_measurements(state, match) if match.prefer is not None else None
    if parts is None:
        return None
    required = required_sizes(state, step, match, {name: one.shown for name, one in parts.items()})
    return None if required is None else Preferring(state, step, match, parts, {one.place: one for one in required})


def _prefer(match: PartMatching) -> Preference:
    assert match.prefer is not None  # only a matching with a preference is asked
    return match.prefer


def parts_chosen(state: State, step: Step, match: PartMatching) -> dict[str, str]:
    """The parts that are chosen for the places of a matching."""
    found = {ValueRef.parse(name): part for name, part in state.work(step.id).chosen.items()}
    return {ref.place: part for ref, part in found.items() if ref.name == match.name and ref.place is not None}


def preferred_by_place(state: State, step: Step, match: PartMatching) -> dict[str, str]:
    """The preferred part of each place, as `choose` takes it, with the parts as they are chosen so far."""
    found = preferring(state, step, match)
    if found is None:
        return {}
    chosen = parts_chosen(state, step, match)
    open_places = tuple(place for place in found.required if place not in chosen)
    parts = found.best(open_places, frozenset(chosen.values())).parts
    shown = {place: _name(found, part) for place, part in parts.items()}
    for place, part in chosen.items():
        better = preferred_instead(found, chosen, place, part)
        shown[place] = part if better is None else better
    return shown


def preferred_instead(found: Preferring, chosen: Mapping[str, str], place: str, part: str) -> str | None:
    """The preferred part for a place, if that is not ``part``; ``None`` if ``part`` is as good.

    The parts that are ``chosen`` for the other places stay there.
    """
    others = {name: one for name, one in chosen.items() if name != place}
    taken = frozenset(others.values())
    open_places = tuple(name for name in found.required if name not in others)
    best = found.best(open_places, taken)
    sized = found.sized(part)
    measured = size_measurement(found.parts, part)
    if sized is not None and measured is not None and found.fits(place, measured):
        rest = tuple(name for name in open_places if name != place)
        without = found.best(rest, taken | ({part} if sized.id else set()))
        own = distance(_prefer(found.match), sized.size, found.aim(place))
        score = (without.score[0], own + without.score[1])
        if score <= best.score:
            return None
    preferred = best.parts.get(place)
    return "" if preferred is None else _name(found, preferred)


def _name(found: Preferring, part: SizedPart) -> str:
    """A part as `choose` takes it: its name, or its size."""
    return part.id or show(in_unit(part.size, found.unit))


def not_preferred(state: State, step: Step, match: PartMatching, place: str, part: str) -> Refusal | None:
    """A refusal if another part than ``part`` is preferred for a place; ``None`` if it may be chosen without a reason.

    What is not the name or the size of a part, or is used elsewhere, is left to the other rules.
    """
    found = preferring(state, step, match)
    chosen = {} if found is None else parts_chosen(state, step, match)
    others = {one for name, one in chosen.items() if name != place}
    if found is None or found.sized(part) is None or part in others:
        return None
    better = preferred_instead(found, chosen, place, part)
    if better is None:
        return None
    name = str(ValueRef(match.name, place))
    return refuse("not-allowed", _message(found, place, part, better), operation=step.id, name=name)


def preference_reasons(state: State, step: Step) -> Iterator[Reason]:
    """A reason for each part that was chosen as the preferred one, and is not since a reading was taken again."""
    work = state.work(step.id)
    for match in step.operation.match:
        found = preferring(state, step, match)
        chosen = {} if found is None else parts_chosen(state, step, match)
        for place, part in chosen.items():
            name = str(ValueRef(match.name, place))
            if name in work.reasoned or found is None or match_waiver(state, step, match, place) is not None:
                continue
            if not _changed_since(state, step, match, place, name):
                continue
            better = preferred_instead(found, chosen, place, part)
            if better is not None:
                yield Reason("not-allowed", _message(found, place, part, better), operation=step.id, name=name)


def _changed_since(state: State, step: Step, match: PartMatching, place: str, name: str) -> bool:
    """True if a reading that the choice for a place depends on was entered after the part was chosen."""
    parts = frozenset(
        attempts[-1].seq
        for at, record in state.plan.records(match.measured)
        for attempts in state.work(at.id).readings.get(record.name, {}).values()
        if attempts
    )
    seq = state.work(step.id).choice_seqs.get(name, 0)
    return any(entry > seq for entry in match_entries(state, step, match, place) | parts)


def _message(found: Preferring, place: str, part: str, better: str) -> str:
    match = found.match
    title, size = match.title or match.name, found.parts.get(better)
    shown = f"{better} ({show_short(size.shown)})" if size is not None else better
    if not better:
        return f"{title}: {part} in {place} does not fit, and no other part does. Give a reason to choose it"
    aim = "aim" if found.required[place].aim is not None else "middle of the limit"
    adjective = f"nearest to the {aim}" if match.prefer == "nearest" else match.prefer
    return f"{title}: {shown} is the {adjective} that fits {place}. Choose it, or give a reason for {part}"
