"""Sample bench views for the drawing tests. The engine and its numbers are invented."""

from benchflow.procedure.model import Caution
from benchflow.session.view.bench_view import (
    BenchView,
    CheckInput,
    ClockRow,
    FastenerStatus,
    GaugePositions,
    HoldInput,
    Input,
    OperationRow,
    OperationView,
    Reading,
    ReadingInput,
    StateRow,
    TightenInput,
)

STATE = (
    StateRow("pistons", "pistons", "half way down"),
    StateRow("valves", "valves", "shut"),
    StateRow("head", "head", "tightened"),
    StateRow("chain", "timing chain", "held up"),
    StateRow("tensioner", "tensioner", "", known=False),
)
NEXT = (
    OperationRow("a", 22, "Fit the followers", "done"),
    OperationRow("seat", 23, "Seat the intake cam", "in-progress", section="Cams"),
    OperationRow("draw", 24, "Draw down the intake caps", "ready"),
    OperationRow("exh", 25, "Seat the exhaust cam", "ready"),
    OperationRow("time", 27, "Time the cams", "blocked", "Pistons must be at the mark of no. 1"),
    OperationRow("scroll", 28, "Turn twice by hand", "blocked", "Comes after 27"),
    OperationRow("cover", 29, "Fit the cover", "paused"),
)
FLOAT = ReadingInput(
    "end-float",
    "End float, dial indicator on the nose of the cam",
    "mm",
    "0.05 .. 0.15 mm",
    "simple",
    (Reading("1", "", ""),),
    "dial indicator",
    False,
    GaugePositions(0.25, 0.75, None, None, None),
)
ROWS = ((8, 4, 1, 5, 9), (10, 6, 2, 3, 7))


def joint(done: int = 6, stage: int = 2, stages: tuple[str, ...] = ("30 N·m", "60 N·m", "+90°")) -> TightenInput:
    fasteners = tuple(
        FastenerStatus(number, row, column, stage if number <= done else stage - 1)
        for row, cells in enumerate(ROWS)
        for column, number in enumerate(cells)
    )
    return TightenInput(
        "studs", "Head studs", fasteners, 2, 5, stages, stage, done + 1, done, 10,
        f"{done} of 10, stage {stage} of {len(stages)}: {stages[stage - 1]}", done or None,
        settings=("Set the wrench to 52.2 N·m with the 38 mm extension on",),
    )  # fmt: skip


def now(*inputs: Input, in_progress: bool = True) -> OperationView:
    return OperationView(
        "seat", 23, "Seat the intake cam",
        (Caution("caution", "A cast cam is brittle. Turn the cap bolts half a turn at a time, evenly."),),
        ("1 Oil the journals and the lobes.", "2 Lay the cam in, lobes of no. 1 upward.", "3 Start every nut by hand."),
        "The cam goes in before the chain, so that its caps come down evenly.",
        ("torque wrench", "assembly lube"), inputs, in_progress, (),
    )  # fmt: skip


def view(now_view: OperationView | None, clocks: tuple[ClockRow, ...] = ()) -> BenchView:
    return BenchView(
        "Cylinder-head installation", "job 2417", "R. Tiller", 86, False, "", 22, 48, now_view, None,
        STATE, clocks, NEXT, (),
    )  # fmt: skip


SEALANT = ClockRow("set-head", "Set the head down", "Lay the corner sealant", "open", 372.0, "")
CLOSING = ClockRow("set-head", "Set the head down", "Lay the corner sealant", "closing", 44.0, "Set the head down now.")
CHECK = CheckInput(1, "The cam turns freely by hand through a few degrees", False)
HOLD = HoldInput("inspector", "caps on their own journals, arrows to the front", "", False)
