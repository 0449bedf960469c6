"""What must be on the screen before a key makes an entry: the object of each event, as text.

It reads the event and the plan of the job. The robot uses it to judge a key after it was pressed, never to choose one.
"""

from collections.abc import Iterator
from typing import Any

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.plan import Plan, Step
from benchflow.session.rules.open_items import lot_title
from benchflow.session.state.state import State
from tests.tui.seen_screen import SeenScreen, squeezed

ENTRIES = frozenset(
    {
        "recorded", "checked", "unchecked", "ticked", "unticked", "drawn-down", "seated", "chosen", "lot", "signed",
        "moved", "undone", "figure-given", "deviated", "remedied", "corrected", "rework-started", "noted", "state-set",
        "opened", "closed",
    }
)  # fmt: skip
"""The kinds of events that are evidence of something seen, measured, done, decided or signed."""


def missing_objects(state: State, event: dict[str, Any], before: SeenScreen) -> list[str]:
    """The parts of an event that the screen did not show before the key that made it; empty if all were shown."""
    return [
        f"{event['kind']}: “{text}” is not {where}, which is “{shown}”"
        for text, shown, where in _objects(state, event, before)
        if squeezed(text) not in squeezed(shown)
    ]


def _objects(state: State, event: dict[str, Any], before: SeenScreen) -> Iterator[tuple[str, str, str]]:
    """The text of each object of an event, where it must be shown, and the name of that place."""
    plan, data, kind = state.plan, event["data"], event["kind"]
    step = plan.steps.get(data.get("operation") or "")
    if step is not None and kind in ENTRIES | {"started", "finished"}:
        yield _numbered(plan, step), _heading(before), "the title"
    for text in _items(state, step, kind, data):
        yield text, before.current, "the current item"
    match kind:
        case "ticked" | "drawn-down":
            yield str(data["fastener"]), str(before.fastener), "the next fastener"
            if kind == "ticked":
                yield str(data["stage"]), str(before.stage), "the current stage"
        case "recorded" if step is not None and len(_slots(step, data["name"])) > 1:
            yield data["reading"], before.slot, "the current reading"
        case "signed" if step is not None and step.operation.hold is not None:
            yield step.operation.hold.for_, before.text, "on the page"
        case "moved":
            move = next(each for each in plan.procedure.moves if each.id == data["move"])
            yield move.title, before.title, "the title"


def _items(state: State, step: Step | None, kind: str, data: dict[str, Any]) -> Iterator[str]:
    """The texts that the current item must show."""
    match kind:
        case "checked" | "unchecked":
            yield data["text"]
        case "recorded" if step is not None and (value := step.record(data["name"])) is not None:
            yield value.ask or value.name
        case "lot":
            yield lot_title(state, data["consumable"])
        case "chosen" if step is not None:
            yield _choice_title(step, data["name"])
            yield data["take"]


def _slots(step: Step, name: str) -> tuple[str, ...]:
    value = step.record(name)
    return () if value is None else tuple(value.slots)


def _choice_title(step: Step, name: str) -> str:
    table = step.choice(name)
    if table is not None:
        return table.title or table.name.replace("-", " ").capitalize()
    ref = ValueRef.parse(name)
    match = step.match(ref.name)
    return f"{match.title or match.name}: {ref.place}" if match is not None else name


def _numbered(plan: Plan, step: Step) -> str:
    return f"{plan.number(step.id)} {step.title}"


def _heading(screen: SeenScreen) -> str:
    """The title of the operation; on a page in front of the bench the whole page, which has it as its heading."""
    return screen.title if screen.on_bench else screen.text
