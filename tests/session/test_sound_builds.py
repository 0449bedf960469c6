"""What `check` calls sound can be built to the end: random procedures with values, worked through by intents."""

import tempfile
from collections.abc import Iterator
from pathlib import Path
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from benchflow.ordering.proof import prove
from benchflow.procedure.checks.unused_names import check_structure
from benchflow.procedure.compiled_cache import read_text
from benchflow.procedure.expand import option_choices
from benchflow.session.controller import SessionController
from tests.driving.entries import choices, entries
from tests.driving.script import procedure_with
from tests.driving.session_driver import ManualClock, SessionDriver, load_text, read_procedure
from tests.ordering.random_plans import examples

HEAD = """\
options: {cams: {ask: Which cams?, choices: [stock, reground]}}
places: {cap: [1, 2], side: [left, right]}
state: {crank: {values: [up, down], start: up}}
moves: {turn-up: {title: Turn up, sets: {crank: up}}}
"""

INDEXES = ("", "", "", "[*]", "[*]", "[1]", "[left]", "[2, left]", "[*, right]", "[2, *]", "[*, *]", "[cap, left]")


class RandomText:
    """A random procedure file. Names are of values that exist, with any index that the reader accepts."""

    def __init__(self, chance: Random) -> None:
        self.chance = chance
        self.values: list[str] = []

    def name(self) -> str:
        chance = self.chance
        written = chance.choice(self.values) + chance.choice(INDEXES)
        return f"{chance.choice(('max', 'mean', 'spread'))}({written})" if "*" in written else written

    def operation(self, number: int, earlier: list[str]) -> str:
        chance = self.chance
        parts = [f"id: op{number}", f"title: Operation {number}"]
        each = chance.random() < 0.4
        if each:
            parts.append("each: cap")
        if chance.random() < 0.25:
            parts.append(f"when: {{cams: {chance.choice(('stock', 'reground'))}}}")
        if chance.random() < 0.2:
            parts.append(f"needs: {{crank: {chance.choice(('up', 'down'))}}}")
        if chance.random() < 0.3:
            parts.append(f"sets: {{crank: {chance.choice(('up', 'down'))}}}")
        parts += self._after(earlier)
        record = self._records(number)
        parts.append(f"record: {{{', '.join(record)}}}")
        if chance.random() < 0.7:
            formula = " + ".join(self.name() for _ in range(chance.choice((1, 1, 2))))
            parts.append(f"work-out: {{y{number}: {{is: '{formula}', unit: mm}}}}")
            self.values.append(f"y{number}")
        if chance.random() < 0.3:
            table = "from: [{at least: -100 mm, up to: 1 mm, take: thin}, {take: thick}]"
            parts.append(f"choose: {{part{number}: {{by: {chance.choice(self.values)}, {table}}}}}")
        if chance.random() < 0.5:
            parts.append("undo: {do: Measure it again}")
        return f"{{{', '.join(parts)}}}"

    def _after(self, earlier: list[str]) -> Iterator[str]:
        if earlier and self.chance.random() < 0.8:
            picked = self.chance.sample(earlier, min(len(earlier), self.chance.choice((1, 1, 2))))
            yield f"after: [{', '.join(picked)}]"

    def _records(self, number: int) -> list[str]:
        chance = self.chance
        keys = ["unit: mm"]
        readings = chance.choice(("", "", "readings: 2", "readings: side", "readings: cap"))
        if readings:
            keys.append(readings)
        if self.values and chance.random() < 0.3:
            keys.append(f"limit: 'above {chance.choice(self.values)}{chance.choice(INDEXES)} by 1 .. 2 mm'")
        elif chance.random() < 0.3:
            keys.append("limit: 1 .. 2 mm")
        self.values.append(f"x{number}")
        return [f"x{number}: {{{', '.join(keys)}}}"]

    def text(self) -> str:
        operations: list[str] = []
        for number in range(self.chance.randint(2, 4)):
            for _ in range(12):
                values = list(self.values)
                operation = self.operation(number, [f"op{earlier}" for earlier in range(len(operations))])
                if is_sound(procedure_with(*operations, operation, head=HEAD)):
                    operations.append(operation)
                    break
                self.values = values
        return procedure_with(*operations, head=HEAD)


def is_sound(text: str) -> bool:
    """True if `check` reports no error on the text."""
    loaded = read_text(text)
    if loaded.procedure is None:
        return False
    if any(problem.severity == "error" for problem in check_structure(loaded.procedure, loaded.problems, "p.yaml")):
        return False
    proof = prove(loaded.procedure)
    return proof.complete and not any(found.severity == "error" for found in proof.findings)


class Worker(SessionDriver):
    """Works through a procedure in a random order that the interlock allows, with every reading within its limit."""

    def build(self, chance: Random, options: dict[str, str]) -> None:
        self.send({"intent": "open", "by": "Robin", "unit": "job 7", "options": options})
        while left := [name for name in self.state.plan.steps if name not in self.state.done]:
            name = self.send({"intent": "route", "operation": chance.choice(left)})["route"][0]
            if name not in self.state.plan.steps:
                self.send({"intent": "move", "move": name})
                continue
            step = self.state.plan.steps[name]
            self.send({"intent": "start", "operation": name})
            for entry in entries(self.state, step):
                self.send(entry)
            for choice in choices(self.state, step):
                self.send(choice)
            self.send({"intent": "finish", "operation": name})
        self.send({"intent": "close"})


@given(st.integers(0, 10**9))
@settings(max_examples=examples(40), deadline=None)
def test_procedure_without_errors_can_be_built_in_any_allowed_order(seed: int) -> None:
    chance = Random(seed)
    text = RandomText(chance).text()
    if "  - {id:" not in text:
        return
    loaded = load_text(text)
    assert loaded.procedure is not None
    for options in option_choices(loaded.procedure):
        with tempfile.TemporaryDirectory() as folder:
            controller = SessionController.begin(
                Path(folder) / "log.jsonl", loaded, file="p.yaml", read=read_procedure, clock=ManualClock()
            )
            worker = Worker(controller, controller.clock, pace=30.0)  # type: ignore[arg-type]  # the clock given above
            worker.build(chance, options)
            controller.close()
