"""The rows of the further limits (`also`) of a recorded value on the bench view."""

from collections.abc import Sequence

from benchflow.procedure.model import RecordedValue
from benchflow.procedure.plan import Step
from benchflow.quantity import show_short
from benchflow.session.rules.remedy_progress import RemedyProgress
from benchflow.session.rules.value_results import ValueResult
from benchflow.session.rules.verdicts import combined_text, judge_value
from benchflow.session.state.state import State
from benchflow.session.view import bench_view as vw
from benchflow.session.view.joint_inputs import titles_to_redo


def further_limit_rows(
    state: State,
    step: Step,
    record: RecordedValue,
    results: Sequence[ValueResult],
    in_turn: Sequence[RemedyProgress],
) -> tuple[vw.FurtherLimitRow, ...]:
    """One row for each further limit. ``results`` and ``in_turn`` are those of all limits of the value."""
    rows = []
    for number, limit in enumerate(record.also, 1):
        judged = record.by_limit[number]
        verdict = judge_value(state, step.id, judged)
        own = [result for result in results if result.limit == number]
        held = next((progress for progress in in_turn if progress.result.limit == number), None)
        shown = combined_text(state, step.id, judged)
        if not shown and verdict.value is not None and verdict.verdict != "none":
            shown = show_short(verdict.value)
        rows.append(
            vw.FurtherLimitRow(
                title=limit.title,
                shown=shown,
                verdict=verdict.verdict,
                limit=verdict.limit,
                acceptance=verdict.acceptance,
                waived=bool(own) and not any(result.open for result in own) and any(r.waived for r in own),
                remedy="" if held is None else held.instruction,
                must_stop=held is not None and held.final,
                redo=() if held is None else titles_to_redo(state, step, held),
            )
        )
    return tuple(rows)
