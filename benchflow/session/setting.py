"""What the wrench is set to and what the joint then holds, a line each, beside the picture of the joint."""

from benchflow.session.state import State
from benchflow.session.tally import Tally


def setting_lines(state: State, count: Tally) -> tuple[str, ...]:
    joint = count.joint
    lines = []
    if joint.lubricant:
        lines.append(f"lubricant: {joint.lubricant}")
    if count.tighten.draw_down:
        lines.append(f"draw down: {count.tighten.draw_down}")
    return tuple(lines)
