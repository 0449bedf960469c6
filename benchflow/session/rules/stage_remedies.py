"""The remedy that is next for each fastener that is out of its band, where the procedure gives remedies for the stage.

The same rules hold as for a value: the fastener counts again only after the remedy in turn, and the end is final.
"""

from benchflow.procedure.model import stage_remedies
from benchflow.procedure.plan import Step
from benchflow.session.rules.joint_progress import open_out_ticks
from benchflow.session.rules.remedy_progress import RemedyInTurn, next_remedy
from benchflow.session.state.state import RemedyKey, State, Tick, fastener_slot


class FastenerRemedy(RemedyInTurn, frozen=True):
    """The remedy in turn for one fastener that is out of its band. ``tick`` is the tick that is out."""

    tick: Tick


def fastener_remedies(state: State, step: Step) -> tuple[FastenerRemedy, ...]:
    """The remedy in turn of each fastener of ``step`` that is out of its band, if its stage has one on that side."""
    tighten, work = step.operation.tighten, state.work(step.id)
    if tighten is None:
        return ()
    found = []
    for tick in open_out_ticks(work):
        verdict = tick.verdict
        if verdict != "low" and verdict != "high":
            continue
        side = "below" if verdict == "low" else "above"
        remedies = dict(stage_remedies(tighten.stages[tick.stage - 1])).get(side, ())
        if remedies:
            key = RemedyKey(tighten.joint, fastener_slot(tick.stage, tick.fastener), verdict)
            found.append(FastenerRemedy(verdict, *next_remedy(remedies, work.remedies.get(key, 0)), tick))
    return tuple(found)


def remedy_of_tick(state: State, step: Step, tick: Tick) -> FastenerRemedy | None:
    """The remedy in turn for a tick; ``None`` if none holds its fastener."""
    return next((held for held in fastener_remedies(state, step) if held.tick.seq == tick.seq), None)


def remedied_together(chosen: FastenerRemedy, held: tuple[FastenerRemedy, ...]) -> tuple[FastenerRemedy, ...]:
    """The fasteners that one remedy serves: with ``redo``, all of the stage whose remedy in turn it is."""
    if chosen.remedy is None or not chosen.remedy.redo:
        return (chosen,)
    alike = (chosen.verdict, chosen.remedy, chosen.tick.stage)
    return tuple(each for each in held if (each.verdict, each.remedy, each.tick.stage) == alike)
