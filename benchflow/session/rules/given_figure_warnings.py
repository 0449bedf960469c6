"""Warnings about figures of a joint that were given at the bench, as `check` gives them for those in the file."""

from collections.abc import Iterator

from benchflow.base.plaintext import sentence
from benchflow.procedure.model import OpenStage
from benchflow.procedure.plan import Step
from benchflow.session.rules.joint_progress import JointProgress
from benchflow.session.state.state import State


def given_figure_warnings(state: State, step: Step, progress: JointProgress) -> Iterator[str]:
    """A warning for a thread or a class that the tables do not know, and for a torque that breaks the fastener."""
    written = (state.as_written or state.plan.procedure).joints_by_id[progress.joint.id]
    if {"thread", "class"} & (written.asked.keys() - progress.joint.asked.keys()):
        from benchflow.trade.calculations.bolt_strength import fastener_problems  # late: few joints ask for figures

        for found in fastener_problems(progress.joint.thread, progress.joint.grade):
            yield " ".join(filter(None, (sentence(found.why), sentence(found.hint))))
    tighten, number = step.operation.tighten, progress.stage_number
    stage = None if tighten is None or number > len(tighten.stages) else tighten.stages[number - 1]
    if isinstance(stage, OpenStage) and stage.asked:
        from benchflow.trade.joint_findings import breaking_text

        found_text = breaking_text(progress.joint, progress.tighten, number)
        if found_text:
            yield f"{found_text}. Compare torque, unit, thread and class with the source"
