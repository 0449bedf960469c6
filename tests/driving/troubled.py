"""A build of a shipped procedure in which values are out of their limits, checks are answered no and nuts move.

Each remedy that does not stop the work is carried out once: the first one for each value, check and check of a
torque, on each side. What it redoes is done again. A test can also ask for findings.
"""

from pathlib import Path

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import CheckStage, EqualWithin, Fixed, RecordedValue, Remedy
from benchflow.procedure.plan import Step
from benchflow.quantity import convert, parse_quantity, seconds
from benchflow.session.log_writer import Accepted
from benchflow.session.rules.open_items import required_lots
from benchflow.session.rules.verdicts import limit_of
from benchflow.session.state.state import State
from tests.driving.entries import choices, entries, valid_reading, value_beyond
from tests.driving.session_driver import Intent
from tests.driving.shipped import ShippedBuild

SPOILED_INPUTS = {
    ("centreline[intake]", "above"): {"opens": "2°", "closes": "46°"},
    ("centreline[exhaust]", "below"): {"opens": "42°", "closes": "2°"},
    ("pointer-error", "above"): {"touch-before": "33°", "touch-after": "30°"},
    ("piston-clearance[2]", "above"): {"bore": "81.028 mm", "piston": "80.956 mm"},
    ("main-clearance[1]", "above"): {"main-bore": "55.044 mm", "main-journal": "54.981 mm"},
    ("main-clearance[3]", "below"): {"main-bore": "55.012 mm", "main-journal": "54.998 mm"},
    ("measure-new-shells.new-clearance[1]", "above"): {
        "measure-new-shells.main-bore": "55.044 mm", "measure-new-shells.main-journal": "54.981 mm",
    },
}  # fmt: skip
"""For a calculated value and a side the readings, each within its own limit, that put it out of its limit there."""


class TroubledBuild(ShippedBuild):
    """A session of the shipped procedure named ``procedure`` in which things go wrong.

    ``found`` has the findings that have to be made, by the name of the value or check without a place: its remedies
    are carried out until none is left. ``trouble`` is False for a build with only these.
    """

    def __init__(self, log: Path, procedure: str, *, found: dict[str, str] | None = None, trouble: bool = True) -> None:
        super().__init__(log, procedure, pace=1)
        self.found, self.trouble = found or {}, trouble
        self.tried: set[tuple[str, str, str]] = set()  # operation, value or check, and side
        self.remedied: list[str] = []  # the texts of the remedies, in the order carried out

    def finish(self, name: str, entering: int | None = None) -> None:
        """Make all entries of the operation in progress. It is not finished if a remedy takes earlier work back."""
        step = self.state.plan.steps[name]
        values = {record.name: record for record in step.operation.record}
        entered = self._spoil_calculated_values(step)
        if self.state.in_progress != name:
            return
        for entry in entries(self.state, step):
            made = False
            if entry["intent"] == "record":
                value = values[entry["name"]]
                made = value.name in entered or self._spoil_value(step, value)
                if made:
                    entered.add(value.name)
            elif entry["intent"] == "tick-check":
                made = entry["check"] in self.state.work(name).checks or self._answer_no(step, entry["check"])
            elif entry["intent"] == "tick":
                self._let_a_fastener_move(step, entry)
            if self.state.in_progress != name:
                return
            if not made:
                self.send(entry)
        for choice in choices(self.state, step):
            self.send(choice)
        if step.operation.hold is not None:
            self.send({"intent": "sign", "operation": name, "by": "K. Lathe"})
        self.send({"intent": "finish", "operation": name})

    def _spoil_value(self, step: Step, value: RecordedValue) -> bool:
        """Enter readings out of the limit. True if they have to stay, as a finding."""
        plain = ValueRef.parse(value.name).name
        wanted = self.found.get(plain, "")
        if wanted in ("above", "below"):
            while self.state.in_progress == step.id:
                self._enter_beyond(value, wanted)
                if not self._remedy(step, value.name, value):
                    return True
            return False
        for side, remedies in (("above", value.above), ("below", value.below)):
            if self._is_to_be_tried(step, plain, side, remedies):
                self._enter_beyond(value, side)
                assert self._remedy(step, value.name, value), (step.id, plain, side)
                if self.state.in_progress != step.id:
                    return False
        return False

    def _spoil_calculated_values(self, step: Step) -> set[str]:
        """Put calculated values out of their limits and carry out the remedies.

        Returns the names of the readings that have to stay, because a finding follows from them.
        """
        kept: set[str] = set()
        for calculated in step.operation.work_out:
            for side, remedies in (("above", calculated.above), ("below", calculated.below)):
                readings = SPOILED_INPUTS.get((calculated.name, side), {})
                is_finding = bool(readings) and self.found.get(ValueRef.parse(calculated.name).name) == side
                if not is_finding and not (readings and self._is_to_be_tried(step, calculated.name, side, remedies)):
                    continue
                name = self._enter_inputs(step, calculated.name, readings)
                is_remedied = self._remedy(step, name)
                assert is_remedied or is_finding, (step.id, name)
                while is_finding and is_remedied and self.state.in_progress == step.id:
                    self._enter_inputs(step, calculated.name, readings)
                    is_remedied = self._remedy(step, name)
                if self.state.in_progress != step.id:
                    return set()
                if is_finding:
                    kept |= {value.name for value in step.operation.record}
        return kept

    def _enter_inputs(self, step: Step, calculated: str, readings: dict[str, str]) -> str:
        """Enter the readings; of values that are judged one by one only the first. Returns the name to remedy."""
        name = calculated
        for value in step.operation.record:
            plain, key = ValueRef.parse(value.name).name, "place" if value.by_place else "reading"
            for number, slot in enumerate(value.slots):
                spoiled = "" if number and value.judge == "all" else readings.get(plain, "")
                text = spoiled or valid_reading(self.state, value, slot)
                self.send({"intent": "record", "name": value.name, key: slot, "value": text})
            if plain in readings and len(value.slots) > 1 and value.judge == "all":
                name = f"{calculated.removesuffix(']')}, {value.slots[0]}]"
        return name

    def _enter_beyond(self, value: RecordedValue, side: str) -> None:
        """Enter all readings: the first one beyond the limit, or all of them if one figure is judged."""
        key = "place" if value.by_place else "reading"
        for number, slot in enumerate(value.slots):
            if number and value.judge == "all" and not isinstance(value.bound, EqualWithin):
                text = valid_reading(self.state, value, slot)
            else:
                text = reading_beyond(self.state, value, side, number)
            self.send({"intent": "record", "name": value.name, key: slot, "value": text})

    def _answer_no(self, step: Step, number: int) -> bool:
        """Answer a check no. True if the answer has to stay, as a finding."""
        point = step.operation.check[number - 1]
        no = {"intent": "tick-check", "operation": step.id, "check": number, "answer": "no"}
        if point.id and self.found.get(ValueRef.parse(point.id).name) == "no":
            while self.state.in_progress == step.id:
                self.send(no)
                if not self._remedy(step, str(number)):
                    return True
        elif self._is_to_be_tried(step, f"check {number}", "no", point.if_not):
            self.send(no)
            assert self._remedy(step, str(number))
        return False

    def _let_a_fastener_move(self, step: Step, tick: Intent) -> None:
        tighten = step.operation.tighten
        assert tighten is not None
        for stage in tighten.stages:
            if isinstance(stage, CheckStage) and self._is_to_be_tried(step, tighten.joint, "below", stage.below):
                self.send(tick | {"value": value_beyond(stage.limit, "N·m", "below")})
                self.send({"intent": "remedy", "name": tighten.joint, "fastener": tick["fastener"]})
                self.remedied.append(stage.below[0].do)

    def _is_to_be_tried(self, step: Step, name: str, side: str, remedies: tuple[Remedy, ...]) -> bool:
        """True the first time, if the first remedy does not stop the work."""
        if not self.trouble or not remedies or remedies[0].stop or (step.id, name, side) in self.tried:
            return False
        self.tried.add((step.id, name, side))
        return True

    def _remedy(self, step: Step, name: str, value: RecordedValue | None = None) -> bool:
        """Carry out the remedy in turn, with its wait and its lots. False if there is none."""
        one = value is not None and value.judge == "all" and not isinstance(value.bound, EqualWithin)
        place = {"place" if value.by_place else "reading": value.slots[0]} if value is not None and one else {}
        reply = self.answer({"intent": "remedy", "operation": step.id, "name": name, **place})
        if not isinstance(reply, Accepted):
            assert {reason.code for reason in reply.refused} == {"not-allowed"}, reply
            return False
        done = reply.lines[0].data
        self.remedied.append(done["do"])
        if done.get("wait"):
            self.clock.advance(float(seconds(parse_quantity(f"{done['wait']['value']} {done['wait']['unit']}"))))
        if self.state.in_progress == step.id:
            for lot in required_lots(self.state, step):
                self.send({"intent": "lot", "consumable": lot, "lot": "A-0043"})
        return True


def reading_beyond(state: State, value: RecordedValue, side: str, number: int) -> str:
    """A reading that makes ``value`` out of its limit on that side; ``number`` counts its readings from 0."""
    if isinstance(value.bound, EqualWithin):
        apart = convert(value.bound.spread, value.unit).value
        return f"{apart * (10 if number == 0 else 12):f} {value.unit}"
    limit = value.bound.limit if isinstance(value.bound, Fixed) else limit_of(state, value.bound, value.unit)
    assert limit is not None
    return value_beyond(limit, value.unit, side)
