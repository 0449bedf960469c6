"""Shipped procedures built by keys alone: whatever the bench asks for can be answered where it asks."""

from pathlib import Path

import pytest

from benchflow.quantity import parse_limit
from benchflow.session.view.bench_view import CheckInput, ChoiceInput, HoldInput, LotInput, TightenInput, WorkedInput
from benchflow.tui.bench.bench_screen import BenchScreen
from benchflow.tui.bench.fields import Want, WantFinish, WantOther, WantReading, WantTick
from benchflow.tui.bench.offer import OfferMove, OfferNothing, OfferWork
from benchflow.tui.draw.joint_map import drawing_down
from tests.session.walker import middle, reading
from tests.tui.play import Hands
from tests.tui.sitting import Sitting, sitting

MOST = 3000
"""Answers. A procedure that takes more than that is going round in circles."""


async def answer(bench: Sitting, screen: BenchScreen, hands: Hands) -> None:
    """One thing, as a builder at the bench would do it who reads what is on the screen."""
    stand = screen.stand
    if any(row.phase == "wait" for row in screen.seat.view.clocks) and stand.stopped:
        hands.moment = hands.moment.replace(day=hands.moment.day + 1) if hands.moment.day < 27 else hands.moment
    want = stand.want
    if isinstance(stand.offer, OfferNothing | OfferMove):
        await bench.press("enter")
    elif want is None and isinstance(stand.offer, OfferWork):
        await bench.press("g" if stand.stopped else "enter")
    else:
        assert want is not None
        await enter(bench, screen, hands, want)


async def enter(bench: Sitting, screen: BenchScreen, hands: Hands, want: Want) -> None:
    match want:
        case WantReading():
            record = next(
                each
                for each in hands.state.plan.steps[screen.stand.operation].operation.record
                if each.name == want.of.name
            )
            await bench.type(reading(hands.state, record) + "\n")
        case WantTick(value=value) if value is not None:
            await bench.type(middle(parse_limit(value.limit), value.unit) + "\n")
        case WantOther(of=LotInput()):
            await bench.type("A-0042\n")
        case WantOther(of=HoldInput()):
            await bench.press("enter")
            await bench.type("K. Lathe\n")
        case WantOther(of=ChoiceInput() as choice):
            await bench.press("enter" if choice.proposed else "1")
        case WantTick() | WantOther(of=CheckInput()) | WantFinish():
            await bench.press("enter")
        case WantOther(of=WorkedInput() as worked):
            raise AssertionError(f"{worked.title} is out: {worked.shown}")
        case WantOther(of=TightenInput() as joint):
            assert drawing_down(joint)
            await bench.press("t")


@pytest.mark.parametrize("procedure", ["wheel-hub"])
async def test_a_shipped_procedure_is_built_from_its_opening_to_its_end_by_keys(tmp_path: Path, procedure: str) -> None:
    hands = Hands(tmp_path / "build.jsonl", procedure)
    starts = {each.name: each.values[0] for each in hands.desk.procedure.state if each.start is None}
    hands.open(**starts)
    async with sitting(hands.desk) as bench:
        assert isinstance(bench.screen, BenchScreen)
        for _ in range(MOST):
            if bench.app.seat is not None and bench.app.seat.view.finished:
                break
            before = (bench.text, len(bench.events))
            await answer(bench, bench.screen, hands)
            assert (bench.text, len(bench.events)) != before, bench.text
        await bench.press("enter", "enter")
        assert bench.kinds[-1] == "closed"
