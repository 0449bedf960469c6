"""What is wrong with the fasteners of a procedure: an unknown thread, a wrong class, too much preload.

These are warnings, because the procedure can be followed all the same. They need the tables of threads and classes, so
the reader of the file cannot find them.
"""

from collections.abc import Iterator

from benchflow.procedure.model import Joint, Mark, Procedure, Stage, Tighten, single_quantity
from benchflow.procedure.problems import Problem
from benchflow.procedure.variants import every_variant
from benchflow.quantity import Quantity, dimension_of, show_short
from benchflow.quantity.arithmetic import decimal, from_base
from benchflow.trade.calculations.bolt_strength import fastener_problems
from benchflow.trade.calculations.bolt_torque import SCATTER
from benchflow.trade.joint_estimates import breaking_load, grip_problem, proof_share, thread_of, weakest_of
from benchflow.trade.tick_bands import band_of_stage

JOINT_EXPLANATIONS = {
    "unknown-thread": (
        "unknown-thread\n\n"
        "The thread of a joint is not a thread that the tables know, so preload and proof load cannot be estimated.\n"
        "\nFor example:\n  thread: M10x1.2          ->  thread: M10x1.25"
    ),
    "wrong-class": (
        "wrong-class\n\n"
        "The property class or grade does not go with the thread. A metric bolt has a class of two numbers such as\n"
        "10.9; an inch bolt has a grade.\n"
        '\nFor example:\n  thread: M10, class: 8    ->  thread: M10, class: "8.8"'
    ),
    "above-proof-load": (
        "above-proof-load\n\n"
        "The estimated preload of a stage is above the proof load of the fastener: the torque, the thread, the class\n"
        "or the nut factor is probably wrong. If the fasteners are tightened to yield on purpose, say so.\n"
        '\nFor example:\n  thread: M8, class: "8.8"  ->  thread: M8, class: "8.8", to-yield: true'
    ),
    "above-breaking-load": (
        "above-breaking-load\n\n"
        "The estimated preload of a stage is more than the fastener bears before it breaks, even at the lower end of\n"
        "its scatter (25 %). Without a class the strongest steel is assumed, without a nut factor a high one. So the\n"
        "torque, its unit or the thread is wrong.\n"
        "\nFor example:\n  thread: M6, 90 N·m       ->  thread: M6, 9 N·m"
    ),
    "wrong-grip": (
        "wrong-grip\n\n"
        "A segment of `grip` cannot belong to a bolt with this thread, so the stretch cannot be estimated.\n"
        "\nFor example:\n  {neck: 20 mm, diameter: 12 mm} with M10  ->  {neck: 20 mm, diameter: 8.5 mm}"
    ),
}
"""The explanation of each code, as text for a terminal."""


def joint_problems(procedure: Procedure, file: str) -> Iterator[Problem]:
    """The warnings about every joint of ``procedure`` and its stages. ``file`` is the name in their places."""
    for joint in procedure.joints:
        for found in fastener_problems(joint.thread, joint.grade):
            thread = found.field == "thread"
            mark = joint.thread_mark if thread else joint.grade_mark
            yield _warning("unknown-thread" if thread else "wrong-class", mark, found.why, found.hint, joint, file)
        wrong = grip_problem(joint)
        if wrong:
            yield _warning("wrong-grip", joint.grip_mark, wrong, "", joint, file)
    yield from dict.fromkeys(_problems_of_stages(procedure, file))  # variants of an operation may have the same


def _problems_of_stages(procedure: Procedure, file: str) -> Iterator[Problem]:
    for operation in every_variant(procedure):
        tighten = operation.tighten
        joint_of_stages = None if tighten is None else procedure.joints_by_id.get(tighten.joint)
        if tighten is not None and joint_of_stages is not None:
            yield from _preload_problems(joint_of_stages, tighten, file)


def _preload_problems(joint: Joint, tighten: Tighten, file: str) -> Iterator[Problem]:
    for number, stage in enumerate(tighten.stages, 1):
        torque, shown = _highest_torque(joint, tighten, stage)
        yield from _breaking_problem(joint, tighten, number, file)
        share = None if torque is None or joint.to_yield else proof_share(joint, torque)
        if share is not None and share > 1:
            message = (
                f"Stage {number}, {shown}: the estimated preload is {100 * share:.0f} % of the proof load of "
                f"{joint.thread}, {joint.grade}{_where(joint)}"
            )
            hint = "Check torque, thread, class and nut factor. If the bolt is tightened to yield, add `to-yield: true`"
            yield _warning("above-proof-load", tighten.mark, message, hint, joint, file)


def _breaking_problem(joint: Joint, tighten: Tighten, number: int, file: str) -> Iterator[Problem]:
    message = breaking_text(joint, tighten, number)
    if message:
        hint = "Compare torque, unit, thread and class with the source"
        yield _warning("above-breaking-load", tighten.mark, message, hint, joint, file)


def breaking_text(joint: Joint, tighten: Tighten, number: int) -> str:
    """The warning that the fastener breaks before it reaches the torque of the stage ``number``; "" if it does not.

    That is so also if it is tightened to yield on purpose. With a known nut factor, the lowest preload within the
    scatter is compared: the estimate alone proves no misprint.
    """
    torque, shown = _highest_torque(joint, tighten, tighten.stages[number - 1])
    found = None if torque is None else breaking_load(joint, torque)
    sure = 1 if joint.nut_factor is None else 1 - SCATTER
    if found is None or found.preload * float(sure) <= found.breaking:
        return ""
    steel = f"{joint.thread}, {joint.grade}" if joint.grade else f"{joint.thread} of the strongest steel"
    return (
        f"Stage {number}, {shown}: the estimated preload of {found.preload / 1000:.3g} kN is more than {steel}"
        f"{_where(joint)} bears before it breaks ({found.breaking / 1000:.3g} kN)"
    )


def _highest_torque(joint: Joint, tighten: Tighten, stage: Stage) -> tuple[Quantity | None, str]:
    """The highest torque that the procedure allows in a stage, and its text; ``None`` for a stage without a torque.

    The tolerance of the program is not added. A check without an upper end has its lower end, which must be reached.
    """
    band = band_of_stage(stage, tighten.tolerance, joint.tolerance)
    if band is None or dimension_of(band.unit) != "torque":
        return None, ""
    figure, end = single_quantity(stage), band.exact.high if band.exact.high is not None else band.exact.low
    if figure is not None and band.by_program:
        return figure, stage.text
    if end is None:
        return None, ""
    highest = Quantity(decimal(from_base(end, band.unit)), band.unit, "")
    return highest, f"{stage.text}, at {show_short(highest)}"


def _where(joint: Joint) -> str:
    """ ", in its neck" if a segment of the `grip` carries less than the thread."""
    thread = thread_of(joint)
    weakest = None if thread is None else weakest_of(joint, thread)
    return "" if weakest is None or weakest.name == "thread" else f", in its {weakest.name}"


def _warning(code: str, mark: Mark, message: str, hint: str, joint: Joint, file: str) -> Problem:
    return Problem(code, "warning", file, mark.line, mark.column, message, hint, f"joints.{joint.id}")
