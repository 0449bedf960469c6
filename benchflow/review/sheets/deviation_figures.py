"""The figures of a deviation and the limit that they are compared with, for the customer."""

from collections.abc import Iterator

from msgspec import Struct

from benchflow.base.durations import rounded_duration
from benchflow.procedure.plan import Step
from benchflow.review.formatting import count, shown, shown_reading
from benchflow.review.log.clock_remarks import window_runs
from benchflow.review.log.loaded_log import LoadedLog
from benchflow.review.log.reading_values import values_of
from benchflow.session.rules.deviation_subjects import TIME, fastener_subject, window_subject
from benchflow.session.rules.running_clocks import wait_from
from benchflow.session.rules.stage_torques import tighten_in_force
from benchflow.session.state.clock import NOT_KNOWN, EventTime, elapsed_between
from benchflow.session.state.state import Tick
from benchflow.trade.tick_bands import band_of_stage
from benchflow.trade.verdict import OUT_OF_LIMIT, VERDICT_TEXT

MOST_FASTENERS = 6
"""Up to this many fasteners out of one band are named with their figures; of more, their number and the range."""


class ComparedFigures(Struct, frozen=True):
    """Figures as text (``3: 95 N·m LOW``), and the limit that they are compared with; "" if it has no figures."""

    figures: str
    limit: str


def deviation_figures(log: LoadedLog, step: Step, about: str) -> tuple[ComparedFigures, ...]:
    """What the deviation ``about`` a value, a joint, a fastener or a time window covers. Empty for other subjects."""
    return (*_of_values(log, step, about), *_of_fasteners(log, step, about), *_of_windows(log, step, about))


def _of_values(log: LoadedLog, step: Step, about: str) -> Iterator[ComparedFigures]:
    for value in values_of(log, step):
        if about != value.name and not about.startswith(f"{value.name}["):
            continue
        slot = about.removeprefix(value.name).strip("[]")
        if value.each and not value.calculated:
            readings = [fact for fact in value.readings if slot in ("", fact.slot)]
            many = len(value.readings) > 1
            figures = [f"{fact.slot + ': ' if many else ''}{shown_reading(fact)}" for fact in readings]
            yield ComparedFigures(", ".join(figures), value.limit)
        elif value.judged is not None:
            yield ComparedFigures(value.judged_text, value.limit)


def _of_fasteners(log: LoadedLog, step: Step, about: str) -> Iterator[ComparedFigures]:
    tighten = tighten_in_force(log.state, step)
    joint = None if tighten is None else log.procedure.joints_by_id.get(tighten.joint)
    if tighten is None or joint is None or about.partition("[")[0] != joint.id:
        return
    every = [cell for row in joint.layout for cell in row if cell is not None]
    in_force = log.state.work(step.id).ticks_in_force
    for number, stage in enumerate(tighten.stages, 1):
        wanted = every if stage.only is None else joint.groups[stage.only]
        covered = [one for one in sorted(wanted) if about in (joint.id, fastener_subject(joint.id, one))]
        out = [in_force[number, one] for one in covered if (number, one) in in_force]
        out = [tick for tick in out if tick.verdict in OUT_OF_LIMIT]
        if out:
            band = band_of_stage(stage, tighten.tolerance, joint.tolerance)
            yield ComparedFigures(_tick_figures(out), "" if band is None else band.text)
        missing = [str(one) for one in covered if (number, one) not in in_force]
        if missing:
            which = "no fastener" if len(missing) == len(every) else f"fasteners not ticked: {', '.join(missing)}"
            yield ComparedFigures(f"{which} at {stage.text}", "")


def _tick_figures(ticks: list[Tick]) -> str:
    """``fastener 3: 95 N·m LOW``."""
    read = [tick for tick in ticks if tick.quantity is not None]
    if len(ticks) > MOST_FASTENERS and read:
        ordered = sorted(read, key=lambda tick: float(tick.quantity.value) if tick.quantity is not None else 0.0)
        return f"{count(len(ticks), 'fastener')}: {_tick_figure(ordered[0])} .. {_tick_figure(ordered[-1])}"
    return ", ".join(f"fastener {tick.fastener}: {_tick_figure(tick)}" for tick in ticks)


def _tick_figure(tick: Tick) -> str:
    one = tick.quantity
    figure = "" if one is None else shown(one.value, one.unit, one.entered)
    return f"{figure} {VERDICT_TEXT[tick.verdict]}".strip()


def _of_windows(log: LoadedLog, step: Step, about: str) -> Iterator[ComparedFigures]:
    fact = next((one for one in log.facts.operations if one.operation == step.id), None)
    for run in window_runs(log.state, step):
        window = run.window
        if about not in (TIME, window_subject(window.operation)) or run.end is None or run.since.boot == NOT_KNOWN:
            continue
        after = f" after “{log.plan.steps[window.operation].title}”" if about == TIME else ""
        taken = elapsed_between(log.state.spans, run.since, run.end)
        if window.high is not None and taken.known and taken.high > window.high:
            late = f"{rounded_duration(taken.high - window.high)} too late"
            yield ComparedFigures(f"{rounded_duration(taken.high)}{after}, {late}", window.text)
        if window.low is None or fact is None or fact.started is None:
            continue
        begun = EventTime(fact.started.seq, fact.started.at, fact.started.boot, fact.started.ms)
        since = wait_from(log.state, window, begun)
        if since is None:
            continue
        waited = elapsed_between(log.state.spans, since, begun)
        if waited.known and waited.low < window.low:
            early = f"{rounded_duration(window.low - waited.low)} too early"
            yield ComparedFigures(f"{rounded_duration(waited.low)}{after}, {early}", window.text)
