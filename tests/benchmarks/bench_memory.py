"""Measures the memory that a session keeps for each event: while it is worked on, and after it is resumed.

    python tests/benchmarks/bench_memory.py [EVENTS]

Real intents go through a controller to a log on disk. The reference is a list of the decoded lines of the same log, and
the size of its lines. Aim: at most half of the reference. ``tracemalloc`` counts the memory, so the figures do not
depend on the machine; the first 200 events are not counted.
"""

import gc
import json
import sys
import tempfile
import tracemalloc
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.driving.small_head import SmallHead, resume_session, start_session

FIRST = 200
AIM = 0.5


def kept() -> int:
    """The bytes in use."""
    gc.collect()
    return tracemalloc.get_traced_memory()[0]


def measure_again(bench: SmallHead, events: int) -> None:
    """Measure one value again and again; every attempt is kept."""
    while bench.controller.saved < events:
        bench.do("record", name="lash[1]", value=f"0.2{bench.controller.saved % 10} mm")


def tick_and_clear(bench: SmallHead, events: int) -> None:
    """Tighten one fastener and clear the tick."""
    while bench.controller.saved < events:
        bench.do("tick", joint="studs", fastener=1)
        bench.do("untick", joint="studs", fastener=1)


def write_notes(bench: SmallHead, events: int) -> None:
    """Write notes of about 40 characters."""
    while bench.controller.saved < events:
        bench.do("note", text=f"Note {bench.controller.saved:06}: oil on the deck, wiped off")


def before_measuring(bench: SmallHead) -> None:
    bench.lower_and_tighten()
    bench.do("start", operation="measure[1]")


def before_ticking(bench: SmallHead) -> None:
    bench.lower_head()
    bench.do("start", operation="tighten")


WORK: dict[str, tuple[Callable[[SmallHead], None], Callable[[SmallHead, int], None]]] = {
    "measuring": (before_measuring, measure_again),
    "ticking": (before_ticking, tick_and_clear),
    "notes": (lambda bench: None, write_notes),
}


def per_event(before: int, events: int) -> float:
    return (kept() - before) / (events - FIRST)


def measure(name: str, events: int) -> bool:
    prepare, go_on = WORK[name]
    with tempfile.TemporaryDirectory() as folder:
        bench = start_session(Path(folder))
        prepare(bench)
        go_on(bench, FIRST)
        before = kept()
        go_on(bench, events)
        working = per_event(before, events)
        bench.controller.close()
        text = bench.controller.journal.path.read_text(encoding="utf-8").splitlines()
        size = sum(len(line) + 1 for line in text[FIRST:]) / (events - FIRST)

        before = kept()
        resumed = resume_session(bench)
        after = (kept() - before) / events
        resumed.controller.close()

        before = kept()
        decoded = [json.loads(line) for line in text[FIRST:]]
        reference = per_event(before, events)
        del decoded
    share = working / reference
    verdict = "ok" if share <= AIM else "MISSED"
    print(
        f"{name:<12}{working:7.0f} B an event while working, {after:5.0f} B resumed; decoded lines {reference:5.0f} B, "
        f"bytes {size:4.0f} B   {share:.2f}x  aim {AIM}x  {verdict}",
        flush=True,
    )
    return share <= AIM


def main() -> int:
    events = int(sys.argv[1]) if len(sys.argv) > 1 else 3_000
    tracemalloc.start()
    met = [measure(name, events) for name in WORK]
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main())
