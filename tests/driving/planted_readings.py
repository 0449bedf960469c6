"""Faults of measuring: readings that were made to fit, odd ones, and instruments that do not go together."""

import re
from decimal import Decimal
from typing import Any

from benchflow.procedure.identity import StepId, ValueRef
from benchflow.procedure.model import AboveReading, EqualWithin, Fixed, RecordedValue
from benchflow.procedure.plan import Plan, Step
from benchflow.quantity import Limit, convert
from tests.driving.fault import Fault
from tests.driving.session_driver import Intent
from tests.driving.working_builder import WorkingBuilder, plain


def calculated_from(plan: Plan) -> set[str]:
    """The names that occur in a formula of the procedure."""
    formulas = " ".join(value.formula for operation in plan.procedure.operations for value in operation.work_out)
    return set(re.findall(r"[a-z][a-z0-9-]*", formulas))


def band(record: RecordedValue) -> tuple[Decimal, Decimal] | None:
    """Both ends of the limit of a value in its unit; ``None`` if the limit has not two."""
    if not isinstance(record.bound, Fixed):
        return None
    limit = record.bound.limit
    return None if limit.low is None or limit.high is None else ends(limit, record.unit)


def ends(limit: Limit, unit: str) -> tuple[Decimal, Decimal]:
    assert limit.low is not None
    assert limit.high is not None
    return convert(limit.low, unit).value, convert(limit.high, unit).value


def in_band(record: RecordedValue, share: float) -> str:
    """The reading at a share of the band: 0 at its low end, 1 at its high end."""
    found = band(record)
    assert found is not None
    low, high = found
    return f"{low + (high - low) * Decimal(share):.6f}".rstrip("0").rstrip(".") + f" {record.unit}"


def slot_of(entry: Intent) -> str:
    return str(entry.get("place", entry.get("reading", "1")))


class OfOneValue(Fault):
    """A fault at one recorded value of the operation: the first one that fits."""

    @classmethod
    def fits(cls, plan: Plan, record: RecordedValue) -> bool:
        return band(record) is not None

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        return [
            step.id for step in plan.steps.values() if any(cls.fits(plan, record) for record in step.operation.record)
        ]

    def value(self, builder: WorkingBuilder, step: Step) -> RecordedValue | None:
        """The value with the fault, if ``step`` is the operation with the fault."""
        if step.id != self.operation:
            return None
        return next(record for record in step.operation.record if self.fits(builder.state.plan, record))

    def is_its(self, builder: WorkingBuilder, step: Step, entry: Intent) -> RecordedValue | None:
        value = self.value(builder, step)
        is_its = value is not None and entry["intent"] == "record" and entry["name"] == value.name
        return value if is_its and not self.shown else None


class RepeatedUntilOk(OfOneValue):
    kind = "read again until it was ok"
    said = r"out of its limit|outside|again|attempt|time"

    @classmethod
    def fits(cls, plan: Plan, record: RecordedValue) -> bool:
        if band(record) is None or plain(record.name) in plan.procedure.deciding_names or record.decision != "simple":
            return False
        return (record.judge == "all" or len(record.slots) == 1) and not (record.above and record.below)

    def choose_size(self) -> None:
        self.times, self.beyond = self.chance.randint(1, 6), self.chance.uniform(0.02, 0.4)
        self.size = f"{self.times} × out by up to {self.beyond:.0%} of the band"

    def sends(self, builder: WorkingBuilder, step: Step, entry: Intent) -> bool:
        value = self.is_its(builder, step, entry)
        if value is None:
            return False
        for _ in range(self.times):
            share = self.beyond * self.chance.uniform(0.5, 1)
            text = in_band(value, 1 + share if not value.above else -share)
            builder.enter(step, entry | {"value": text})
            builder.wait(self.chance.uniform(15, 60))
        self.shown = True
        builder.enter(step, entry)
        return True


class CorrectedToOk(OfOneValue):
    kind = "corrected from out to ok"
    said = r"correct"

    @classmethod
    def fits(cls, plan: Plan, record: RecordedValue) -> bool:
        one = record.judge == "all" or len(record.slots) == 1
        return band(record) is not None and one and plain(record.name) not in plan.procedure.deciding_names

    def choose_size(self) -> None:
        self.beyond, self.inside = self.chance.uniform(0.02, 0.4), self.chance.uniform(0.06, 0.25)
        self.size = f"from {self.beyond:.0%} of the band outside to {self.inside:.0%} inside"

    def sends(self, builder: WorkingBuilder, step: Step, entry: Intent) -> bool:
        value = self.is_its(builder, step, entry)
        if value is None:
            return False
        seq = builder.enter(step, entry | {"value": in_band(value, 1 + self.beyond)})
        builder.wait(self.chance.uniform(20, 90))
        reason = self.chance.choice(("misread", "looked again", "the gauge had slipped"))
        calculated = plain(value.name) in calculated_from(builder.state.plan)
        corrected = entry["value"] if calculated else in_band(value, 1 - self.inside)
        builder.send({"intent": "correct", "event": seq, "value": corrected, "reason": reason})
        self.shown = True
        return True


class NearTheLimit(OfOneValue):
    kind = "within a hair of the limit"
    said = r"left|limit"

    @classmethod
    def fits(cls, plan: Plan, record: RecordedValue) -> bool:
        return band(record) is not None and plain(record.name) not in calculated_from(plan) and not record.also

    def choose_size(self) -> None:
        self.left, self.high = 10 ** self.chance.uniform(-3.3, -1.4), self.chance.random() < 0.5
        self.size = f"{self.left:.2%} of the band left"

    def reading(self, builder: WorkingBuilder, step: Step, record: RecordedValue, slot: str) -> str:
        value = self.value(builder, step)
        if value is None or record.name != value.name or (record.judge == "all" and slot != record.slots[-1]):
            return ""
        self.shown = True
        return in_band(record, 1 - self.left if self.high else self.left)


class OddAmongSiblings(OfOneValue):
    kind = "one odd among its siblings"
    said = r"other|sibling|odd|apart|differ|differs"

    @classmethod
    def fits(cls, plan: Plan, record: RecordedValue) -> bool:
        name = plain(record.name)
        if band(record) is None or record.judge != "all" or record.also or name in calculated_from(plan):
            return False
        places = [step for step in plan.steps.values() if any(plain(r.name) == name for r in step.operation.record)]
        same = {StepId.parse(step.id).operation for step in places}
        return (record.by_place and len(record.slots) >= 4) or (len(places) >= 4 and len(same) == 1)

    def choose_size(self) -> None:
        self.off = self.chance.uniform(0.33, 0.42)
        self.size = f"{self.off:.0%} of the band from the middle"

    def reading(self, builder: WorkingBuilder, step: Step, record: RecordedValue, slot: str) -> str:
        value = self.value(builder, step)
        if value is None or record.name != value.name:
            return ""
        if record.by_place and slot != record.slots[len(record.slots) // 2]:
            return ""
        builder.honest_reading(record, slot)  # settles the centre of the others
        centre = builder.centres.get(ValueRef.parse(record.name).name)
        if centre is None:
            return ""  # its honest value follows from earlier readings, so that it has no siblings
        self.shown = True
        return in_band(record, 0.5 - self.off if centre > 0 else 0.5 + self.off)


class SpreadWithinOnePlace(OfOneValue):
    kind = "readings of one place spread"
    said = r"spread|apart|differ|scatter"

    @classmethod
    def fits(cls, plan: Plan, record: RecordedValue) -> bool:
        if band(record) is None or len(record.slots) < 2 or record.by_place or record.also:
            return False
        return plain(record.name) not in calculated_from(plan)

    def choose_size(self) -> None:
        self.off = self.chance.uniform(0.3, 0.42)
        self.size = f"{2 * self.off:.0%} of the band apart"

    def reading(self, builder: WorkingBuilder, step: Step, record: RecordedValue, slot: str) -> str:
        value = self.value(builder, step)
        if value is None or record.name != value.name:
            return ""
        place = record.slots.index(slot)
        self.shown = True
        if place > 1:
            return in_band(record, 0.5)
        return in_band(record, 0.5 + (self.off if place else -self.off))


class ContradictsTheCalculation(Fault):
    """A lash is measured after shims were chosen for it, and is not what was calculated with them."""

    kind = "measured value contradicts the calculated one"
    said = r"calculat|work|chosen|expect|predict"

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        return ["prove-one"] if "measure-one" in plan.steps and plan.procedure.id == "valve-lash" else []

    def choose_size(self) -> None:
        self.off = self.chance.uniform(0.02, 0.04)
        self.size = f"{self.off:.3f} mm from the calculated lash"

    def reading(self, builder: WorkingBuilder, step: Step, record: RecordedValue, slot: str) -> str:
        if record.name == "gap-one" and slot == record.slots[2]:
            return "0.340 mm"
        if step.id != "prove-one" or slot != record.slots[5]:
            return ""
        self.shown = True
        expected = builder.expected_lash(record.name, slot)
        assert expected is not None
        return f"{expected + Decimal(self.off if expected < Decimal('0.25') else -self.off):.3f} mm"


def groups_of_one_instrument(plan: Plan) -> dict[str, list[tuple[str, str]]]:
    """For each calculated difference, comparison or sum of readings by one instrument: the values that it needs."""
    found: dict[str, list[tuple[str, str]]] = {}
    values = [(step, record) for step in plan.steps.values() for record in step.operation.record]
    for step in plan.steps.values():
        for result in step.operation.work_out:
            names = set(re.findall(r"[a-z][a-z0-9-]*", result.formula))
            used = [
                (one, record)
                for one, record in values
                if plain(record.name) in names and (one.place == step.place or step.place is None)
            ]
            needs = {record.instrument for _, record in used}
            readings = sum(len(record.slots) for _, record in used)
            if (
                len(needs) == 1
                and None not in needs
                and readings > 1
                and re.search(r"-|spread|max|min", result.formula)
            ):
                found.setdefault(step.id, [(one.id, record.name) for one, record in used])
        for record in step.operation.record:
            if isinstance(record.bound, EqualWithin) and record.instrument and len(record.slots) > 1:
                found.setdefault(step.id, [(step.id, record.name)])
            if isinstance(record.bound, AboveReading) and record.instrument:
                other = [(one.id, each.name) for one, each in values if each.name == record.bound.name]
                found.setdefault(step.id, [*other, (step.id, record.name)])
    return found


class TwoInstruments(Fault):
    kind = "two instruments in one difference"
    said = r"two|instrument|different|another"

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        return list(groups_of_one_instrument(plan))

    def choose_size(self) -> None:
        self.size = "the last of the readings by another instrument"
        self.last: tuple[str, str] | None = None
        self.first_slot = ""

    def after_start(self, builder: WorkingBuilder, step: Step) -> None:
        if self.last is None:
            plan = builder.state.plan
            group = groups_of_one_instrument(plan)[self.operation]
            self.last = group[-1]
            self.right |= {operation for operation, _ in group}
            record = plan.steps[self.last[0]].record(self.last[1])
            assert record is not None
            self.first_slot = record.slots[0] if len(group) == 1 else ""

    def shop(self, shop: dict[str, Any]) -> None:
        for name, one in list(shop["instruments"].items()):
            shop["instruments"][f"{name}-2"] = {**one, "serial": f"{one['serial']}-2"}

    def tool(self, step: Step, need: str, entry: Intent) -> str:
        if self.last != (step.id, entry.get("name")) or slot_of(entry) == self.first_slot:
            return ""
        self.shown = True
        return f"S-{need}-2"


READING_FAULTS = (
    RepeatedUntilOk, CorrectedToOk, NearTheLimit, OddAmongSiblings, SpreadWithinOnePlace, ContradictsTheCalculation,
    TwoInstruments,
)  # fmt: skip
