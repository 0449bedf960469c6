"""Faults of people, of what was written down, and of parts."""

from typing import Any

from benchflow.procedure.plan import Plan, Step
from benchflow.session.shop.register import hash_pin
from tests.driving.fault import Fault
from tests.driving.session_driver import Intent
from tests.driving.working_builder import BUILDER, HELPER, INSPECTOR, WorkingBuilder

PIN = "4711"
UNKNOWN = "M. Fourth"
"""Somebody who is not in the register."""


class OfOneHold(Fault):
    """A fault of the signature of a hold."""

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        return [step.id for step in plan.steps.values() if step.operation.hold is not None]

    def signs(self, builder: WorkingBuilder, step: Step) -> bool:
        if step.id != self.operation:
            return False
        self.shown = True
        self.sign(builder, {"intent": "sign", "operation": step.id})
        return True

    def sign(self, builder: WorkingBuilder, intent: Intent) -> None:
        raise NotImplementedError


class SignedByTheBuilder(OfOneHold):
    kind = "hold signed by the builder"
    said = r"who did the work|builder|own"

    def shop(self, shop: dict[str, Any]) -> None:
        shop["people"][BUILDER] = {"roles": ["builder", "inspector"]}

    def sign(self, builder: WorkingBuilder, intent: Intent) -> None:
        builder.send(intent | {"by": BUILDER})


class SignedByAStranger(OfOneHold):
    """The job has no register. The register of the review does not know who signed."""

    kind = "hold signed by somebody unknown to the register"
    said = r"register|unknown|not known"

    def sign(self, builder: WorkingBuilder, intent: Intent) -> None:
        builder.send(intent | {"by": UNKNOWN})


class HoldWaived(OfOneHold):
    """The job has no register. In that of the review, who waived has not the role of the hold."""

    kind = "hold waived without the role"
    said = r"hold|waive|role|deviation"

    def sign(self, builder: WorkingBuilder, intent: Intent) -> None:
        reason = self.chance.choice(("Nobody else is here today.", "I have seen it myself.", "No time."))
        builder.send(intent | {"intent": "deviate", "about": "hold", "reason": reason, "by": HELPER})


class WrongPin(OfOneHold):
    kind = "a wrong PIN before the signature"
    said = r"PIN"
    pin = PIN

    def choose_size(self) -> None:
        self.times = self.chance.randint(1, 4)
        self.size = f"{self.times} ×"

    def shop(self, shop: dict[str, Any]) -> None:
        shop["people"][INSPECTOR] = {"roles": ["builder", "inspector"], "pin": hash_pin(PIN, bytes(16))}

    def sign(self, builder: WorkingBuilder, intent: Intent) -> None:
        for attempt in range(self.times):
            builder.answer(intent | {"by": INSPECTOR, "pin": f"12{attempt:02}"})
            builder.wait(self.chance.uniform(3, 20))
        builder.send(intent | {"by": INSPECTOR, "pin": PIN})


# --- words ----------------------------------------------------------------------------------------

ODD_NOTES = (
    "gasket has a crease",
    "thread felt gritty",
    "had to force it",
    "there is a nick in the face, should be fine",
    "one bolt felt soft at the end",
    "dropped it on the floor, looks all right",
    "a bit of swarf in the bore, blown out",
    "this one went in much easier than the rest",
    "the old mark is still there, did not polish out",
    "scratch on the sealing lip",
    "hairline near the edge, maybe only a scratch",
    "wiped it, still some oil on it",
    "not sure if the tab went all the way in",
    "torque came up very late on this one",
    "it squeaked while turning",
    "could not get it quite flat",
    "the hole is a bit oval",
    "forgot the washer first, put it in afterwards",
    "burr on the shoulder, left it",
    "rust pitting where the seal runs",
    "had no new one, cleaned the old one",
    "it binds a little in one place",
    "smells burnt",
    "slight leak at the fitting, stopped by itself",
    "thread pulled a little, will hold",
    "bent the shim a bit getting it in",
)
"""What a builder writes when something is odd. From memory of the trade, not from the words that the program knows."""


class OddNote(Fault):
    kind = "a note of something odd, in an operation"
    said = r"note|wrote|“"

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        return [step.id for step in plan.steps.values() if step.operation.guards_against]

    def choose_size(self) -> None:
        self.text = self.size = self.chance.choice(ODD_NOTES)

    def after_start(self, builder: WorkingBuilder, step: Step) -> None:
        if step.id == self.operation and not self.shown:
            self.shown = True
            builder.wait(30)
            builder.send({"intent": "note", "text": self.text})


class OddNoteBetween(OddNote):
    kind = "a note of something odd, no operation in progress"

    def choose_size(self) -> None:
        super().choose_size()
        self.right = {"", self.operation}

    def after_start(self, builder: WorkingBuilder, step: Step) -> None: ...

    def after_finish(self, builder: WorkingBuilder, step: Step) -> None:
        if step.id == self.operation and not self.shown:
            self.shown = True
            builder.wait(30)
            builder.send({"intent": "note", "text": self.text})


# --- parts ----------------------------------------------------------------------------------------


def items_for_one_use(step: Step, *, lot: bool | None, plan: Plan) -> list[str]:
    kit = plan.procedure.kit_by_id
    names = [ref.name for ref in step.operation.uses if ref.name in kit and kit[ref.name].discard]
    return [name for name in names if lot is None or kit[name].lot_required is lot]


class ReworkedWithOldPart(Fault):
    """An operation with a part for one use is reworked. Nothing says that a new part was fitted."""

    kind = "part to discard, no new one entered"
    said = r"discard|replac|new|again|use"
    lot: bool | None = False
    bolts = False

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        return [
            step.id for step in plan.steps.values()
            if items_for_one_use(step, lot=cls.lot, plan=plan) and step.operation.undo is not None
            and not step.time and (step.operation.tighten is not None) is cls.bolts
        ]  # fmt: skip

    def choose_size(self) -> None:
        self.lots: dict[str, str] = {}

    def after_finish(self, builder: WorkingBuilder, step: Step) -> None:
        if step.id == self.operation and not self.shown:
            self.shown = True
            self.size = ", ".join(items_for_one_use(step, lot=self.lot, plan=builder.state.plan))
            builder.wait(self.chance.uniform(200, 900))
            builder.send({"intent": "rework", "operation": step.id, "reason": "It was not seated."})

    def sends(self, builder: WorkingBuilder, step: Step, entry: Intent) -> bool:
        if entry["intent"] == "lot" and step.id == self.operation:
            kept = self.lots.setdefault(entry["consumable"], entry["lot"])
            builder.enter(step, entry | {"lot": kept})
            return True
        return False


class LotFittedAgain(ReworkedWithOldPart):
    kind = "a lot fitted after it was thrown away"
    said = r"lot|thrown|discard|again"
    lot = True


class BoltsTwice(ReworkedWithOldPart):
    kind = "fasteners for one use tightened twice"
    said = r"twice|again|once|discard|no new one"
    lot = None
    bolts = True


class UsedPart(Fault):
    kind = "a part used again"
    said = r"used"

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        return [
            s.id for s in plan.steps.values()
            if any(r.used is not None and r.used_by_option is None for r in s.operation.record)
        ]  # fmt: skip

    def sends(self, builder: WorkingBuilder, step: Step, entry: Intent) -> bool:
        if step.id != self.operation or entry["intent"] != "record":
            return False
        record = step.record(entry["name"])
        if record is None or record.used is None:
            return False
        self.shown = True
        builder.enter(step, entry | {"used": True})
        return True


PEOPLE_FAULTS = (
    SignedByTheBuilder, SignedByAStranger, HoldWaived, WrongPin, OddNote, OddNoteBetween, ReworkedWithOldPart,
    LotFittedAgain, BoltsTwice, UsedPart,
)  # fmt: skip
