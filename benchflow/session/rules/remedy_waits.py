"""The waits after remedies: what counts again only when the time of its remedy has passed."""

from collections.abc import Iterable, Iterator

from msgspec import Struct

from benchflow.procedure.model import Remedy
from benchflow.procedure.plan import Step
from benchflow.quantity import seconds
from benchflow.session.refusal import Reason
from benchflow.session.rules.measurements import from_stored
from benchflow.session.rules.value_results import WHOLE, ReadingRef, reading_subject
from benchflow.session.rules.window_advice import wait_text
from benchflow.session.state.clock import BY_WALL_CLOCK, Elapsed, Now, elapsed
from benchflow.session.state.events import StoredQuantity
from benchflow.session.state.state import RemedyWait, State, check_key

WaitedFor = dict[str, dict[str, tuple[str, ...]]]
"""What a wait holds back: by step and by name, the readings; :data:`WHOLE` for the name as a whole."""


class RunningWait(Struct, frozen=True):
    """A wait that is not over. ``name`` and ``slot`` are what it holds back."""

    name: str
    slot: str
    wait: RemedyWait
    elapsed: Elapsed

    @property
    def left(self) -> float:
        """The seconds that are left; all of them if the clocks contradict each other."""
        return max(0.0, seconds(from_stored(self.wait.length)) - self.elapsed.low)


def stored_wait(remedy: Remedy) -> StoredQuantity | None:
    """The wait of a remedy for the log."""
    if remedy.wait is None:
        return None
    return StoredQuantity(format(remedy.wait.value, "f"), remedy.wait.unit, remedy.wait.entered)


def readings_waited_for(
    step: Step, name: str, void: dict[str, tuple[str, ...]], redone: Iterable[ReadingRef]
) -> WaitedFor:
    """What the wait of a remedy for a value holds back: the readings that are void, in this step and in those redone.

    Where there are none, it is the value itself: then the operation is not finished before the wait is over.
    """
    found: dict[str, dict[str, tuple[str, ...]]] = {step.id: dict(void)} if void else {}
    for ref in redone:
        of_step = found.setdefault(ref.step, {})
        of_step[ref.name] = tuple(dict.fromkeys((*of_step.get(ref.name, ()), ref.slot)))
    return found or {step.id: {name: (WHOLE,)}}


def running_waits(state: State, step: Step, now: Now) -> Iterator[RunningWait]:
    """Every wait of ``step`` that is not over."""
    for (name, slot), wait in state.work(step.id).waits.items():
        running = RunningWait(name, slot, wait, elapsed(state.spans, state.last, wait.since, now))
        if running.left > 0:
            yield running


def wait_reasons(state: State, step: Step, name: str, slot: str, now: Now) -> tuple[Reason, ...]:
    """The reason that a reading, a fastener or a check is held back; empty if it is not."""
    found = (each for each in running_waits(state, step, now) if (each.name, each.slot) == (name, slot))
    return tuple(_wait_reason(step, each, now) for each in found)


def value_wait_reasons(state: State, step: Step, now: Now) -> Iterator[Reason]:
    """A reason for each calculated value of ``step`` whose wait holds back the finish, as no reading is left for it."""
    for each in running_waits(state, step, now):
        if each.slot == WHOLE and step.work_out(each.name) is not None:
            yield _wait_reason(step, each, now)


def waited_for_text(step: Step, running: RunningWait) -> str:
    """What a wait holds back, inside a sentence: ``gap[2]``, ``studs, fastener 3``, ``check 1``."""
    record = step.record(running.name)
    tighten = step.operation.tighten
    if tighten is not None and running.name == tighten.joint:
        return f"{running.name}, fastener {running.slot}"
    several = record is not None and len(record.slots) > 1
    return reading_subject(running.name, running.slot) if several else running.name


def wait_left_text(running: RunningWait, now: Now) -> str:
    """What to do about a wait that is not over."""
    if not running.elapsed.known:
        return "The clocks contradict each other, so the wait counts as not over. Set the computer clock right"
    by_wall = f" ({BY_WALL_CLOCK})" if running.elapsed.across else ""
    return f"{wait_text(running.left, now)}{by_wall}"


def _wait_reason(step: Step, running: RunningWait, now: Now) -> Reason:
    what = waited_for_text(step, running)
    message = (
        f"Too early for {what}: the remedy “{running.wait.do}” says to wait {running.wait.length.entered}. "
        f"{wait_left_text(running, now)}"
    )
    checks = range(1, len(step.operation.check) + 1)
    number = next((number for number in checks if running.name == check_key(number)), None)
    return Reason("too-early", message, operation=step.id, name=running.name if number is None else str(number))
