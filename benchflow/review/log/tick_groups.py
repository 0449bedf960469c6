"""Counts the ticks of one operation by stage, instrument, person and day, for its stage facts."""

from collections import Counter
from collections.abc import Callable, Iterator
from typing import NamedTuple

from msgspec import Struct

from benchflow.review.log.facts import LogTime, StageFact
from benchflow.review.log.stage_torque import StageTorque
from benchflow.session.log.line_format import Line
from benchflow.session.state import events as ev
from benchflow.session.state.state import Tick, Work
from benchflow.trade.verdict import NOT_ACCEPTED, Verdict


class _GroupKey(NamedTuple):
    """What the ticks of one group have in common.

    ``stretch`` is true if the instrument measured the stretch. ``attempt`` counts how often the stage was begun again.
    """

    stage: int
    serial: str
    by: str
    day: str  # UTC
    stretch: bool
    together: bool
    attempt: int


class _TickGroup(Struct):
    """The ticks with one key, counted."""

    seq: int
    joint: str
    instrument: str
    first: LogTime
    last: LogTime
    unticked: int = 0
    gap: float = 0.0
    gap_seq: int = 0
    measured: int = 0
    low: int = 0
    high: int = 0
    loosened: int = 0

    def count_verdict(self, verdict: Verdict, by: int) -> None:
        """Add ``by`` to the ticks with this verdict, if it is out of the band."""
        if verdict == "low":
            self.low += by
        elif verdict == "high":
            self.high += by


class TickGroups:
    """The ticks of one operation since it was last reworked."""

    def __init__(self) -> None:
        self._groups: dict[_GroupKey, _TickGroup] = {}
        self._of_tick: dict[int, list[_GroupKey]] = {}  # by seq
        self._last_in_stage: dict[int, LogTime] = {}
        self._attempts: Counter[int] = Counter()  # how often each stage was begun again

    def ticked(self, event: ev.FastenerTicked, line: Line, now: LogTime) -> None:
        """Count one tick. A tick with torque and stretch counts for both instruments."""
        before = self._last_in_stage.get(event.stage)
        self._last_in_stage[event.stage] = now
        gap = 0.0 if before is None else before.seconds_until(now)
        attempt = self._attempts[event.stage]
        key = _GroupKey(event.stage, event.serial or "", line.by, now.at[:10], False, event.together, attempt)
        self._count_tick(key, event.instrument, event, line, now, gap)
        self._of_tick[line.seq] = [key]
        if event.stretch is not None:
            key = key._replace(serial=event.stretch_serial or "", stretch=True)
            self._count_tick(key, event.stretch_instrument, event, line, now, gap)
            self._of_tick[line.seq].append(key)

    def _count_tick(
        self, key: _GroupKey, instrument: str | None, event: ev.FastenerTicked, line: Line, now: LogTime, gap: float
    ) -> None:
        group = self._groups.get(key)
        if group is None:
            group = self._groups[key] = _TickGroup(line.seq, event.joint, instrument or "", now, now)
        group.last = now
        if gap > group.gap:
            group.gap, group.gap_seq = gap, line.seq
        if event.quantity is not None:
            group.measured += 1
        group.count_verdict(event.verdict, 1)
        group.loosened += event.loosened

    def begun_again(self, *stages: int) -> None:
        """Count the next ticks of ``stages``, or of all stages, as another attempt."""
        for stage in stages or tuple(self._last_in_stage):
            self._attempts[stage] += 1
            self._last_in_stage.pop(stage, None)

    def corrected(self, before: Tick | None, verdict: Verdict) -> None:
        """Count a corrected tick by its new verdict. ``before`` is the tick before; ``None`` if it was cleared."""
        if before is None:
            return
        for key in self._of_tick[before.seq]:
            self._groups[key].count_verdict(before.verdict, -1)
            self._groups[key].count_verdict(verdict, 1)

    def unticked(self, before: tuple[Tick, ...], after: tuple[Tick, ...]) -> None:
        """Count as cleared the tick that is in ``before`` and not in ``after``."""
        kept = {tick.seq for tick in after}
        for tick in before:
            if tick.seq not in kept:
                for key in self._of_tick[tick.seq]:
                    self._groups[key].unticked += 1

    def facts(
        self, operation: str, work: Work, figure_of: Callable[[int], StageTorque], *, in_force: bool
    ) -> Iterator[StageFact]:
        """One fact per group. ``work`` has the valid ticks and the number of times that the operation was reworked.

        ``figure_of`` returns the torque of a stage.
        """
        verdicts: dict[_GroupKey, dict[int, Verdict]] = {key: {} for key in self._groups}
        for tick in work.ticks_in_force.values():
            for key in self._of_tick[tick.seq]:
                verdicts[key][tick.fastener] = tick.verdict
        for key, group in self._groups.items():
            bad = sum(verdict in NOT_ACCEPTED for verdict in verdicts[key].values())
            figure = figure_of(key.stage)
            yield StageFact(
                group.seq, operation, group.joint, key.stage, work.redone, group.instrument,
                key.serial, key.by, key.day, group.first.at, group.last.at, len(verdicts[key]),
                group.unticked, group.gap, group.gap_seq, group.first.seconds_until(group.last), bad, group.measured,
                key.stretch, in_force and key.attempt == self._attempts[key.stage],
                group.low, group.high, group.loosened, key.together,
                figure.torque, figure.low, figure.high, figure.turned, figure.kind,
            )  # fmt: skip
