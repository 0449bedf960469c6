"""Faults of instruments, of the declared state, and of the log itself."""

import re
from datetime import timedelta
from pathlib import Path
from typing import Any

from benchflow.procedure.model import Fixed
from benchflow.procedure.plan import Plan, Step
from tests.driving.fault import Fault
from tests.driving.forged_log import ForgedLog
from tests.driving.planted_readings import groups_of_one_instrument
from tests.driving.session_driver import Intent
from tests.driving.working_builder import BEGIN, WorkingBuilder


class OfOneInstrument(Fault):
    """The operation uses another instrument than the rest of the build. Unfit instruments get a warning only."""

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        """Without the operations whose readings are compared with others: two instruments are a fault of their own."""
        groups = groups_of_one_instrument(plan)
        compared = {*groups, *(operation for group in groups.values() for operation, _ in group)}
        return [step.id for step in plan.steps.values() if step.id not in compared and cls.fits(plan, step)]

    @classmethod
    def fits(cls, plan: Plan, step: Step) -> bool:
        """True if the operation uses an instrument with which the fault is possible."""
        tighten = step.operation.tighten
        return any(record.instrument for record in step.operation.record) or bool(tighten and tighten.instrument)

    def procedure_text(self, text: str) -> str:
        return re.sub(r"(, kind: [a-z]+),", r"\1, unfit: warn,", text)

    def shop(self, shop: dict[str, Any]) -> None:
        for name, one in list(shop["instruments"].items()):
            shop["instruments"][f"{name}-2"] = self.other({**one, "serial": f"{one['serial']}-2"})

    def other(self, instrument: dict[str, Any]) -> dict[str, Any]:
        return instrument

    def tool(self, step: Step, need: str, entry: Intent) -> str:
        if step.id != self.operation:
            return ""
        self.shown = True
        return f"S-{need}-2"


class Overdue(OfOneInstrument):
    kind = "calibration overdue"
    said = r"calibration|overdue|run out|due"

    def choose_size(self) -> None:
        self.days = round(1460 ** self.chance.random())
        self.size = f"{self.days} d"

    def other(self, instrument: dict[str, Any]) -> dict[str, Any]:
        due = BEGIN.date() - timedelta(days=self.days)
        return instrument | {"calibrated": str(due - timedelta(days=365)), "calibration-due": str(due)}


class OutOfRange(OfOneInstrument):
    kind = "reading outside the range of its instrument"
    said = r"range"

    @classmethod
    def fits(cls, plan: Plan, step: Step) -> bool:
        needs = plan.procedure.instruments_by_id
        return any(
            record.instrument and isinstance(record.bound, Fixed) and "torque" not in needs[record.instrument].kind
            for record in step.operation.record
        )

    def other(self, instrument: dict[str, Any]) -> dict[str, Any]:
        high = instrument["range"].partition(" .. ")[2]
        number, _, unit = high.partition(" ") if " " in high else (high.rstrip("°"), "", "°")
        self.size = "no range above a thousandth of the scale"
        space = "" if unit == "°" else " "
        return instrument | {
            "range": f"{float(number) * 0.0001:.7f} .. {float(number) * 0.001:.7f}{space}{unit}",
            "scale": None,
        }


class DoubtfulLater(OfOneInstrument):
    """After the build the instrument was found to read wrong. Its last good check was before the build."""

    kind = "instrument found bad later"
    said = r"doubt|bad"

    def choose_size(self) -> None:
        self.found = self.chance.randint(20, 300)
        self.good = self.chance.randint(1, 99)
        self.size = f"found {self.found} d after the build, last good check {self.good} d before it"

    def shop_of_review(self, shop: dict[str, Any]) -> None:
        found, good = (BEGIN.date() + timedelta(days=days) for days in (self.found, -self.good))
        for name in [name for name in shop["instruments"] if name.endswith("-2")]:
            doubt = {"reason": "reads 6 % low", "found": str(found), "last-good": str(good)}
            shop["instruments"][name]["in-doubt"] = doubt


# --- state and log --------------------------------------------------------------------------------


class StateByHand(Fault):
    """The state is declared where a move would have set it."""

    kind = "state declared by hand"
    said = r"by hand|declared|state|set"

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        return [""] if plan.procedure.moves else []

    def choose_size(self) -> None:
        self.after = self.chance.randint(0, 2)

    def moves(self, builder: WorkingBuilder, move: str) -> bool:
        self.after -= 1
        if self.shown or self.after >= 0:
            return False
        action = builder.state.plan.procedure.moves_by_id[move]
        values = {name: value for name, value in action.sets.items() if isinstance(value, str)}
        if not values:
            return False
        builder.wait(20)
        for variable, value in values.items():
            builder.send({"intent": "set-state", "variable": variable, "value": value, "reason": "Seen on the engine"})
        self.shown, self.size = True, f"instead of {move}"
        self.right |= {
            step.id for step in builder.state.plan.steps.values()
            if set(step.needs) & set(values) or set(step.sets) & set(values)
        }  # fmt: skip
        return True


class Damaged(Fault):
    kind = "the log is damaged"
    said = r"damage|not known"

    def choose_size(self) -> None:
        self.share = self.chance.uniform(0.1, 0.95)
        self.size = f"one byte at {self.share:.0%}"

    def after_close(self, log: Path) -> None:
        data = bytearray(log.read_bytes())
        first = data.index(b"\n") + 1
        at = data.index(b'"kind":', first + round((len(data) - first - 1500) * self.share)) + 9
        data[at] ^= 1
        log.write_bytes(bytes(data))
        self.shown = True
        self.right.add("*")  # any operation after the damage


class Forged(Fault):
    """A reading was changed afterwards, with its verdict kept, and every line sealed again."""

    kind = "an entry was forged"
    said = r"audit|refused|judged|forg|decide"

    @classmethod
    def places(cls, plan: Plan) -> list[str]:
        return [s.id for s in plan.steps.values() if any(isinstance(r.bound, Fixed) for r in s.operation.record)]

    def after_close(self, log: Path) -> None:
        forged = ForgedLog(log)
        for draft in forged.drafts:
            if draft.kind == "recorded" and draft.data["operation"] == self.operation and not self.shown:
                quantity = draft.data["quantity"]
                value = str(float(quantity["value"]) * 3 + 7)
                draft.data["quantity"] = {**quantity, "value": value, "entered": f"{value} {quantity['unit']}"}
                sent = next(
                    one.data["sent"] for one in forged.drafts
                    if one.data["intent"] == draft.data["intent"] and "sent" in one.data
                )  # fmt: skip
                sent["value"] = f"{value} {quantity['unit']}"
                self.shown, self.size = True, f"{quantity['entered']} made {value}"
        forged.save()


OTHER_FAULTS = (Overdue, OutOfRange, DoubtfulLater, StateByHand, Damaged, Forged)
