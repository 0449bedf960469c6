"""Random entries, remedies, deviations and corrections: the answers agree with a small independent model.

The model keeps one value with two readings, and one value calculated from a third. A correction after the finish can
reopen the operation, which is then started again. All data is invented.
"""

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.session.log_writer import Accepted
from benchflow.session.refusal import Refusal
from tests.driving.script import procedure_with
from tests.driving.session_driver import SessionDriver
from tests.driving.small_head import resume_session, start_session

PROCEDURE = procedure_with(
    "{id: fit, title: Fit, undo: {do: Off}}",
    "{id: one, title: One, after: [fit], record: {gap: {ask: Gap, unit: mm, readings: 2, limit: 0.10 .. 0.20 mm, "
    "above: [{do: A, tries: 2}, {do: B, redo: [fit]}, {do: C, stop: true}], below: [{do: D}, {do: E, fresh: true}]}, "
    "width: {ask: Width, unit: mm}}, "
    "work-out: {total: {is: 2 * width, unit: mm, limit: at most 1 mm, above: [{do: W, tries: 2}]}}}",
    "{id: next, title: Next, after: [one], undo: {do: Off}}",
)
ABOVE, BELOW = ("A", "A", "B", "C"), ("D", "E")
VALUES = {"low": "0.05 mm", "ok": "0.15 mm", "high": "0.90 mm"}
READINGS = ("gap[1]", "gap[2]", "width")


class Entered(NamedTuple):
    side: str
    waived: bool = False


class Model:
    """What is entered, and how often a remedy was carried out for each reading on each side."""

    def __init__(self) -> None:
        self.entered: dict[str, Entered] = {}
        self.tries: dict[tuple[str, str], int] = {}
        self.total_waived = False
        self.fitted = True
        self.done = False

    # `total` is out when `width` is high

    def out(self, subject: str) -> str:
        """The side on which a subject is out and not waived; empty if it is not."""
        if subject == "total":
            width = self.entered.get("width")
            return "high" if width is not None and width.side == "high" and not self.total_waived else ""
        if subject == "width":
            return ""
        entry = self.entered.get(subject)
        return entry.side if entry is not None and entry.side != "ok" and not entry.waived else ""

    def in_turn(self, subject: str) -> str:
        """The remedy in turn of a subject that is out: its letter, or ``end`` for a stop or the end of all tries."""
        side = self.out(subject)
        remedies = ("W", "W") if subject == "total" else ABOVE if side == "high" else BELOW
        done = self.tries.get((subject, side), 0)
        return "end" if done >= len(remedies) or remedies[done] == "C" else remedies[done]

    def _wipe(self, *readings: str) -> None:
        for reading in readings:
            self.entered.pop(reading, None)
            if reading == "width":
                self.total_waived = False

    def record(self, reading: str, side: str) -> set[str]:
        if not self.fitted or self.done:
            return {"not-started"}
        holder = "total" if reading == "width" else reading
        if self.out(holder):
            return {"out-of-limit" if self.in_turn(holder) == "end" else "remedy-first"}
        self.put(reading, side)
        return set()

    def put(self, reading: str, side: str) -> None:
        self._wipe(reading)
        self.entered[reading] = Entered(side)

    def remedy(self, name: str) -> set[str]:
        if not self.fitted or self.done:
            return {"not-started"}
        subjects = ["gap[1]", "gap[2]"] if name == "gap" else [name]
        out = [each for each in subjects if self.out(each)]
        if not out:
            inputs = ["width"] if name == "total" else subjects
            return {"not-allowed" if all(each in self.entered for each in inputs) else "value-missing"}
        live = [each for each in out if self.in_turn(each) != "end"]
        if not live:
            return {"not-allowed"}
        chosen, turn = live[0], self.in_turn(live[0])
        side = self.out(chosen)
        together = [each for each in live if (self.out(each), self.in_turn(each)) == (side, turn)]
        if len(live) > 1 and not (turn == "B" and together == live):
            return {"value-missing"}
        if turn != "B":
            served = [chosen]
        else:
            served = [
                each for each in ("gap[1]", "gap[2]") if (self.out(each), self._turn_or_none(each)) == (side, "B")
            ]
            if not all(each in self.entered for each in ("gap[1]", "gap[2]")):
                return {"value-missing"}
            if any(self.out(each) and self.in_turn(each) == "end" for each in ("gap[1]", "gap[2]")):
                return {"not-allowed"}
        for each in served:
            self.tries[each, side] = self.tries.get((each, side), 0) + 1
        if turn == "E":
            self.tries = {key: count for key, count in self.tries.items() if key[0] == "total"}
        self._wipe(*({"gap[1]", "gap[2]"} if turn == "B" else {"width"} if chosen == "total" else {chosen}))
        self.fitted = turn != "B"
        return set()

    def _turn_or_none(self, subject: str) -> str:
        return self.in_turn(subject) if self.out(subject) else ""

    def deviate(self, name: str) -> set[str]:
        about = ["gap[1]", "gap[2]"] if name == "gap" else [name]
        if self.done and not any(self.out(each) for each in about):
            return {"already-done"}
        if name == "total":
            if "width" not in self.entered:
                return {"value-missing"}
            self.total_waived = True
            return set()
        subjects = ["gap[1]", "gap[2]"] if name == "gap" else [name]
        out = [each for each in subjects if self.out(each)]
        if not out and not all(each in self.entered for each in subjects):
            return {"value-missing"}
        for each in out or subjects:
            self.entered[each] = self.entered[each]._replace(waived=True)
        return set()

    def finish(self) -> set[str]:
        if not self.fitted or self.done:
            return {"not-started"}
        codes = set() if all(each in self.entered for each in READINGS) else {"value-missing"}
        for subject in ("gap[1]", "gap[2]", "total"):
            if self.out(subject):
                codes |= {"out-of-limit"} if self.in_turn(subject) == "end" else {"out-of-limit", "remedy-first"}
        self.done = not codes
        return codes

    @property
    def reopened(self) -> bool:
        """True if the operation was finished and is out of a limit again."""
        return self.done and any(self.out(subject) for subject in ("gap[1]", "gap[2]", "total"))

    def start(self) -> set[str]:
        if not self.fitted:
            return {"after-missing"}
        if not self.done:
            return {"operation-in-progress"}
        if not self.reopened:
            return {"already-done"}
        self.done = False
        return set()

    def start_next(self) -> set[str]:
        """The refusal of an operation that comes after it."""
        if not self.fitted:
            return {"after-missing"}
        if not self.done:
            return {"operation-in-progress", "after-missing"}
        return {"out-of-limit"} if self.reopened else set()


SUBJECTS = ("gap", "gap[1]", "gap[2]", "total")
ACTIONS = st.sampled_from(
    [
        *[("record", reading, side) for reading in READINGS for side in VALUES],
        *[("record", reading, "high") for reading in READINGS] * 4,
        *[("record", reading, "low") for reading in ("gap[1]", "gap[2]")] * 2,
        *[("remedy", subject, "") for subject in SUBJECTS] * 6,
        *[("deviate", subject, "") for subject in SUBJECTS],
        *[("correct", reading, side) for reading in READINGS for side in VALUES],
        *[("fit", "", "")] * 4,
        *[("finish", "", "")] * 4,
        *[("start", "", "")] * 4,
        *[("start-next", "", "")] * 2,
        ("resume", "", ""),
    ]
)


def answered(driver: SessionDriver, kind: str, **fields: Any) -> set[str]:
    """The codes of the refusal; empty if the intent was accepted."""
    reply = driver.answer({"intent": kind, **fields})
    assert isinstance(reply, Accepted | Refusal)
    return {reason.code for reason in reply.refused} if isinstance(reply, Refusal) else set()


def fit(driver: SessionDriver) -> None:
    driver.work("fit")
    driver.do("start", operation="one")


def last_seq(driver: SessionDriver, reading: str) -> int | None:
    """The ``seq`` of the entry that is in force for a reading."""
    name, _, slot = reading.partition("[")
    attempts = driver.state.work("one").readings.get(name, {}).get(slot.rstrip("]") or "1", ())
    return attempts[-1].seq if attempts else None


@settings(max_examples=30, deadline=None)
@given(st.lists(ACTIONS, min_size=60, max_size=150), st.booleans())
def test_answers_to_random_entries_equal_the_model(actions: list[tuple[str, str, str]], begin_finished: bool) -> None:
    model = Model()
    with TemporaryDirectory() as folder:
        driver: SessionDriver = start_session(Path(folder), PROCEDURE, options={}, start={})
        fit(driver)
        within = [*(("record", reading, "ok") for reading in READINGS), ("finish", "", "")]
        for kind, subject, side in (*(within if begin_finished else ()), *actions):
            if kind == "record":
                assert answered(driver, "record", name=subject, value=VALUES[side]) == model.record(subject, side)
            elif kind == "remedy":
                assert answered(driver, "remedy", name=subject) == model.remedy(subject)
            elif kind == "deviate":
                fields = {"operation": "one", "about": subject, "reason": "Approved"}
                assert answered(driver, "deviate", **fields) == model.deviate(subject)
            elif kind == "finish":
                assert answered(driver, "finish") == model.finish()
            elif kind == "start":
                assert answered(driver, "start", operation="one") == model.start()
            elif kind == "start-next":
                refused = answered(driver, "start", operation="next")
                assert refused == model.start_next()
                if not refused:
                    driver.do("finish")
                    driver.do("rework", operation="next", reason="to try it again")
            elif kind == "correct":
                seq = last_seq(driver, subject)
                assert (seq is not None) == (subject in model.entered)
                if seq is not None:
                    driver.do("correct", event=seq, value=VALUES[side], reason="misread")
                    model.put(subject, side)
            elif kind == "fit" and not model.fitted:
                fit(driver)
                model.fitted = True
            elif kind == "resume":
                before = driver.state
                driver = resume_session(driver)
                assert (driver.state.works, driver.state.done) == (before.works, before.done)
            view = driver.controller.view()
            (row,) = [each for each in view.operations if each.operation == "one"]
            assert (row.status == "reopened", row.status == "done") == (
                model.reopened,
                model.done and not model.reopened,
            )
            assert view.finished == (len(driver.state.done) == len(view.operations) and not model.reopened)
        driver.controller.close()
