"""What happens in any good build: corrected typing errors, remedies, pauses, neutral notes, other units.

No review may accuse an operation because of it.
"""

from datetime import timedelta
from decimal import Decimal
from typing import Any

from benchflow.procedure.model import EqualWithin, Fixed, RecordedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import parse_quantity, seconds
from benchflow.session.log_writer import Accepted
from benchflow.session.read_again import READ_AGAIN, REASONS
from tests.driving.entries import value_beyond
from tests.driving.fault import Fault
from tests.driving.planted_readings import band
from tests.driving.session_driver import Intent
from tests.driving.working_builder import BEGIN, HELPER, WorkingBuilder, entry_seq, plain

NEUTRAL_NOTES = (
    "Customer rang, back at six", "Radio off, it is late", "Kim brought the parts at noon", "Photo taken",
    "Next: order two tubes of sealant", "Moved the engine to the other stand", "Lunch", "Parcel came, signed for it",
    "Cold in the shop today, heater on", "Customer wants the old parts back", "Took the torque from page 12",
    "Will go on tomorrow at eight", "Paint pen is empty, took a new one", "Invoice for the gasket set is in the folder",
)  # fmt: skip

FINDINGS = {"gap-one": "0.340 mm", "gap-four": "0.350 mm"}
"""Readings out of their limit for which the procedure has operations that put it right."""


class HonestNoise(Fault):
    """Each thing happens with a chance of its own, most of them at most once or twice in a build."""

    def choose_size(self) -> None:
        self.left = {
            "typing error": self.chance.choice((0, 0, 1, 2)),
            "read again": self.chance.choice((0, 0, 1, 2)),
            "remedy": self.chance.choice((0, 0, 1)),
            "tick cleared": self.chance.choice((0, 0, 1)),
            "check cleared": self.chance.choice((0, 0, 1)),
            "pause in a stage": self.chance.choice((0, 0, 1)),
            "pause": self.chance.choice((0, 1, 2)),
            "note": self.chance.choice((0, 1, 2)),
            "second person": self.chance.choice((0, 0, 1, 3)),
            "finding": self.chance.choice((0, 0, 1)),
            "other unit": self.chance.choice((0, 0, 1, 4)),
        }
        self.done: list[str] = []
        self.by = ""

    def takes(self, name: str, share: float) -> bool:
        """True, with a chance of ``share``, as long as this may still happen."""
        if self.left[name] and self.chance.random() < share:
            self.left[name] -= 1
            self.done.append(name)
            return True
        return False

    def shop_of_review(self, shop: dict[str, Any]) -> None:
        """Long after the build, an instrument is found to read wrong. It was good in a check after the build."""
        name = self.chance.choice(list(shop["instruments"]))
        found, good = (BEGIN.date() + timedelta(days=days) for days in (300, 150))
        doubt = {"reason": "fell off the bench", "found": str(found), "last-good": str(good)}
        if self.chance.random() < 0.5:
            shop["instruments"][name]["in-doubt"] = doubt

    def before_start(self, builder: WorkingBuilder, step: Step) -> None:
        self.by = HELPER if self.takes("second person", 0.2) else ""
        if not builder.window_is_open and self.takes("pause", 0.2):
            builder.wait(self.chance.uniform(600, 5400))
        if self.takes("note", 0.1):
            builder.send({"intent": "note", "text": self.chance.choice(NEUTRAL_NOTES)})

    def after_start(self, builder: WorkingBuilder, step: Step) -> None:
        if self.takes("note", 0.1):
            builder.send({"intent": "note", "text": self.chance.choice(NEUTRAL_NOTES)})

    def sends(self, builder: WorkingBuilder, step: Step, entry: Intent) -> bool:
        if self.by:
            entry["by"] = self.by
        if builder.fault.operation == step.id or entry["intent"] != "record":
            return False  # the fault stays the only thing at its place
        record = step.record(entry["name"])
        assert record is not None
        if self._finds(builder, step, record, entry):
            return True
        if isinstance(record.bound, Fixed) and self._send_otherwise(builder, step, record, entry):
            return True
        if record.unit == "mm" and self.takes("other unit", 0.3):
            inches = Decimal(entry["value"].split()[0]) / Decimal("25.4")
            builder.enter(step, entry | {"value": f"{inches:.5f} in"})
            return True
        return False

    def _finds(self, builder: WorkingBuilder, step: Step, record: RecordedValue, entry: Intent) -> bool:
        """A value is out, and the operations that the procedure has for it are done later."""
        if record.name not in FINDINGS or not self.takes("finding", 0.3):
            return False
        builder.enter(step, entry | {"value": FINDINGS[record.name]})
        return True

    def _send_otherwise(self, builder: WorkingBuilder, step: Step, record: RecordedValue, entry: Intent) -> bool:
        number, _, unit = entry["value"].partition(" ")
        decides = plain(record.name) in builder.state.plan.procedure.deciding_names
        if "." in number and not decides and band(record) is not None and self.takes("typing error", 0.15):
            reply = builder.answer(entry | {"value": f"{Decimal(number) * 10:f} {unit}"})
            if not isinstance(reply, Accepted):
                return False  # no gauge reads that far
            builder.wait(15)
            reason = {"reason": "typing error, decimal point"}
            builder.send({"intent": "correct", "event": entry_seq(reply), "value": entry["value"], **reason})
            return True
        if self.takes("read again", 0.15):
            seq = builder.enter(step, entry)
            builder.wait(30)
            reason = {"reason": f"{READ_AGAIN}: {REASONS[self.chance.choice(tuple(REASONS))]}"}
            value = builder.honest_reading(record, str(entry.get("place", entry.get("reading", "1"))))
            builder.send({"intent": "correct", "event": seq, "value": value, **reason})
            return True
        simple = len(record.slots) == 1 and not decides and not isinstance(record.bound, EqualWithin)
        for side, remedies in (("below", record.below), ("above", record.above)):
            if simple and remedies and not remedies[0].stop and not remedies[0].redo and self.takes("remedy", 0.4):
                assert isinstance(record.bound, Fixed)
                builder.enter(step, entry | {"value": value_beyond(record.bound.limit, record.unit, side)})
                builder.wait(60)
                done = builder.do("remedy", operation=step.id, name=record.name).lines[0].data
                wait = done.get("wait")
                builder.wait(float(seconds(parse_quantity(f"{wait['value']} {wait['unit']}"))) + 60 if wait else 300)
                builder.enter(step, entry)
                return True
        return False

    def after_entry(self, builder: WorkingBuilder, step: Step, entry: Intent) -> None:
        if builder.fault.operation == step.id or builder.state.in_progress != step.id:
            return
        if entry["intent"] == "tick" and self.takes("tick cleared", 0.05):
            builder.wait(4)
            builder.send({"intent": "untick", "joint": entry["joint"]})
            builder.wait(9)
            builder.send(entry)
        if entry["intent"] == "tick" and not step.takes and self.takes("pause in a stage", 0.05):
            builder.wait(self.chance.uniform(90, 420))
        if entry["intent"] == "tick-check" and self.takes("check cleared", 0.05):
            builder.wait(4)
            builder.send(entry | {"undo": True})
            builder.wait(9)
            builder.send(entry)
