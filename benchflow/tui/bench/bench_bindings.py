"""The keys of the bench, each with its stable id, and when each of them means something."""

from textual.binding import Binding, BindingType

from benchflow.session.view.bench_view import CheckInput, ChoiceInput, HoldInput, LotInput, WorkedInput
from benchflow.tui.bench.cursor import Stand
from benchflow.tui.bench.fields import Want, WantFinish, WantOther, WantReading, WantTick
from benchflow.tui.bench.offer import OfferMove, OfferNothing, OfferStepBack
from benchflow.tui.draw.joint_map import drawing_down
from benchflow.tui.widgets.page import letter

ENTER = "enter,space"

BENCH_KEYS: list[BindingType] = [
    Binding(ENTER, "start", "take it up", id="bench.start"),
    Binding(ENTER, "blocked", "why it is stopped", id="bench.blocked"),
    Binding(ENTER, "move_now", "done, next", id="bench.move"),
    Binding(ENTER, "rework_step", "done, next", id="bench.rework-step"),
    Binding(ENTER, "record", "record it", id="bench.record"),
    Binding(ENTER, "tick", "tightened, next", id="bench.tick"),
    Binding(ENTER, "next_value", "next reading", id="bench.next-value"),
    Binding(ENTER, "draw_down", "drawn down, next", id="bench.draw-down"),
    Binding(letter("t"), "seated", "all are seated", id="bench.seated"),
    Binding(ENTER, "check", "tick it", id="bench.check"),
    Binding(ENTER, "uncheck", "take the tick back", id="bench.uncheck"),
    Binding(ENTER, "choose(0)", "take it", id="bench.choose"),
    Binding(ENTER, "sign", "sign", id="bench.sign"),
    Binding(ENTER, "remedy_here", "what to do", id="bench.remedy-here"),
    Binding(ENTER, "finish", "finish", id="bench.finish"),
    Binding(ENTER, "end", "end the session", id="bench.end"),
    *(Binding(str(n), f"choose({n})", f"take no. {n}", id=f"bench.choose-{n}", show=False) for n in range(1, 10)),
    Binding("backspace", "untick", "take a tick back", id="bench.untick"),
    Binding("escape", "step_out", "step out", id="bench.step-out"),
    Binding("up,shift+tab", "line(-1)", "", id="bench.up", show=False),
    Binding("down,tab", "line(1)", "line", id="bench.down", key_display="↑↓"),
    Binding(letter("r"), "remedy", "remedy", id="bench.remedy"),
    Binding(letter("f"), "folder", "another folder", id="bench.folder"),
    Binding(letter("w"), "why", "why", id="bench.why"),
    Binding(letter("g"), "way", "the way", id="bench.way"),
    Binding(letter("g"), "off_way", "off the way", id="bench.off-way"),
    Binding(letter("o"), "operations", "list", id="bench.operations"),
    Binding(letter("m"), "moves", "moves", id="bench.moves"),
    Binding(letter("a"), "pause", "pause", id="bench.pause"),
    Binding(letter("n"), "note", "note", id="bench.note"),
    Binding(letter("u"), "take_back", "take back", id="bench.take-back"),
    Binding(letter("d"), "deviate", "deviate", id="bench.deviate"),
    Binding(letter("c"), "correct", "correct", id="bench.correct"),
    Binding(letter("s"), "stands", "stands", id="bench.stands"),
    Binding("equals_sign", "sums", "sums", id="bench.sums", show=False),
    Binding(letter("x"), "wrench", "extension", id="bench.wrench", show=False),
    Binding(letter("i"), "instrument", "instrument", id="bench.instrument", show=False),
    Binding(letter("l"), "lubricant", "lubricant", id="bench.lubricant", show=False),
    Binding(letter("e"), "end_early", "end", id="bench.end-early", show=False),
    Binding("pagedown", "turn(3)", "read on", id="bench.read-on", show=False, key_display="PgUp PgDn"),
    Binding("pageup", "turn(-3)", "", id="bench.read-back", show=False),
    Binding(letter("q") + ",escape,f10,ctrl+c,ctrl+q", "back", "leave", id="bench.leave"),
]
"""Several share a key: the one that means something now is live, and the others are not there."""

Live = bool | None
"""As `check_action` has it: true live, ``None`` blocked and greyed, false not there."""


def _of(want: Want | None, kind: type) -> bool:
    return isinstance(want, WantOther) and isinstance(want.of, kind)


def _entering(stand: Stand) -> dict[str, Live]:
    """What Enter and its like do to the line in hand."""
    want = stand.want
    check = want.of if isinstance(want, WantOther) and isinstance(want.of, CheckInput) else None
    choice = want.of if isinstance(want, WantOther) and isinstance(want.of, ChoiceInput) else None
    hold = want.of if isinstance(want, WantOther) and isinstance(want.of, HoldInput) else None
    worked = want.of if isinstance(want, WantOther) and isinstance(want.of, WorkedInput) else None
    joint = stand.joint
    missing = stand.work.now.missing if stand.work else ()
    return {
        "record": isinstance(want, WantReading) or _of(want, LotInput),
        "tick": isinstance(want, WantTick) and want.last,
        "next_value": isinstance(want, WantTick) and not want.last,
        "draw_down": joint is not None and drawing_down(joint),
        "seated": joint is not None and drawing_down(joint),
        "untick": joint is not None and bool(joint.undo),
        "instrument": (isinstance(want, WantReading | WantTick) and stand.seat.has_register) or None,
        "wrench": joint is not None or None,
        "lubricant": joint is not None or None,
        "check": check is not None and not check.complete,
        "uncheck": check is not None and check.complete,
        "choose": choice is not None,
        "sign": hold is not None and not hold.complete,
        "remedy_here": worked is not None and bool(worked.remedy),
        "remedy": isinstance(want, WantReading) and bool(want.of.remedy),
        "finish": isinstance(want, WantFinish) and (None if missing else True),
        "line": len(stand.wants) > 1,
        "pause": stand.in_progress and (True if stand.work and stand.work.now.pause_allowed else None),
        "deviate": stand.work is not None or None,
    }


def _going(stand: Stand) -> dict[str, Live]:
    """What may be begun, left, gone to."""
    view = stand.seat.view
    offered = stand.work is not None and not stand.in_progress
    idle = not stand.in_progress and view.rework is None
    ended = isinstance(stand.offer, OfferNothing) and view.finished and not view.closed
    return {
        "start": offered and not stand.stopped,
        "blocked": stand.stopped,
        "why": True if stand.work else None,
        "move_now": isinstance(stand.offer, OfferMove) and (None if stand.offer.move.refused else True),
        "rework_step": isinstance(stand.offer, OfferStepBack),
        "way": False if stand.way else (True if stand.stopped else None),
        "off_way": stand.way is not None,
        "moves": (idle or None) if view.moves else False,
        "take_back": (idle and bool(view.done or _aside(stand))) or None,
        "end": ended,
        "end_early": (not view.closed) or None,
    }


def _aside(stand: Stand) -> bool:
    return any(row.status == "paused" for row in stand.seat.view.next)


READING = frozenset({"why", "line", "operations", "turn", "back", "keys", "step_out", "blocked", "sums"})
"""What can be done with a session that is only looked at."""


def live_states(stand: Stand, typing: bool, unsaved: bool) -> dict[str, Live]:
    """What every action of the bench means now; one that is not listed is live. ``typing``: the field has the
    keys; ``unsaved``: the disk did not take the last step."""
    states = {**_entering(stand), **_going(stand), "step_out": typing, "folder": unsaved}
    if typing:
        states["untick"] = False
    return states


def live(stand: Stand, states: dict[str, Live], action: str, parameters: tuple[object, ...]) -> Live:
    """Whether one action means something now, ``states`` being those of :func:`live_states`."""
    state = states.get(action, True)
    if action == "choose" and state:
        state = _choice(stand, parameters)
    view = stand.seat.view
    if (view.read_only or view.closed) and action not in READING and state is not False:
        return None
    return state


def _choice(stand: Stand, parameters: tuple[object, ...]) -> Live:
    want = stand.want
    assert isinstance(want, WantOther)
    assert isinstance(want.of, ChoiceInput)
    number = parameters[0] if parameters else 0
    if number == 0:
        return True if len(want.of.proposed) == 1 or want.of.other else None
    if want.of.other:
        return False  # a figure is a size, and goes to the field
    return isinstance(number, int) and number <= len(want.of.choices)
