"""After random plausible intents, the view can be built and a resumed session is the same. All data is invented."""

from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from benchflow.session.controller import SessionController
from benchflow.session.log_writer import Accepted
from benchflow.session.view.bench_view import BenchView, TightenInput
from tests.driving.script import Json, intent, load_text, read_procedure
from tests.driving.session_driver import ManualClock

PROCEDURE = """\
benchflow: 1
id: monkey
title: Monkey
revision: "1"
places: {side: [1, 2]}
state: {crank: {values: [top, low], start: ask, ask: Where?}, valves: {values: [shut, open], start: shut}}
interference: [{never: {crank: top, valves: open}, because: they meet}]
moves: {turn: {title: Turn, sets: {crank: low}}, back: {title: Back, needs: {valves: shut}, sets: {crank: top}}}
kit: {consumables: {oil: {title: Oil, lot: required}}, parts: {seal: {title: Seal, discard: true}}}
instruments: {gauge: {title: Gauge, kind: length, uncertainty: at most 0.02 mm}}
joints: {caps: {title: Caps, layout: "1 2", thread: M8x1.25, nut-factor: 0.2}}
sections:
- title: All
  operations:
  - {id: fit, title: Fit, uses: [oil, seal], undo: {do: Take it out}}
  - id: gap
    title: Gap {side}
    each: side
    after: [fit]
    record:
      gap:
        ask: Gap
        unit: mm
        limit: 0.10 .. 0.20 mm
        used: at most 0.30 mm
        with: gauge
        decision: guarded
        readings: 2
        below: [{do: Fit it again, redo: [fit], tries: 2}, {do: Scrap it, stop: true}]
        above: [{do: Look again, tries: 1}]
    work-out:
      twice: {is: gap * 2, unit: mm, limit: at most 0.38 mm}
      widest: {is: "max(gap[*])", unit: mm}
    choose: {shim: {by: widest, from: [{up to: 0.15 mm, take: thin}, {up to: 0.40 mm, take: thick}]}}
    undo: {do: Forget it}
  - id: pull
    title: Pull down
    after: [fit]
    tighten:
      joint: caps
      stages:
      - {torque: 10 N·m, above: [{do: Let it off, tries: 2}, {do: Take the cap out, redo: [fit]}]}
      - {check: 20 .. 30 N·m, stretch: 0.10 .. 0.12 mm, below: [{do: Begin again, redo: [pull]}]}
      draw-down: half a turn
    check: [level]
    hold: {by: inspector, for: the caps}
    undo: {do: Let go}
  - {id: cam, title: Cam, during: {valves: open}, sets: {valves: open}, undo: {do: Out, sets: {valves: shut}}}
  - {id: wait, title: Wait, time: {fit: 1 min .. 1 h}, temporary: {restored-by: end}, undo: {do: Undo it}}
  - {id: end, title: End, after: [wait], undo: {do: Undo it}}
"""
OPERATIONS = ("fit", "gap[1]", "gap[2]", "pull", "cam", "wait", "end")
VALUES = ("0.05 mm", "0.102 mm", "0.15 mm", "0.25 mm", "0.4 mm", "25 N·m", "15 N·m", "0.11 mm", "0.006 in", "3")

ABOUT = ("gap", "hold", "time", "caps", "shim", "limit", "twice")

operation = st.sampled_from(OPERATIONS)
value = st.sampled_from(VALUES)
reason = st.just("for a test")
fastener = st.sampled_from([1, 2])


def intent_strategy(kind: str, **fields: st.SearchStrategy[object]) -> st.SearchStrategy[Json]:
    return st.fixed_dictionaries({"intent": st.just(kind), **fields}).map(dict[str, object])


intents: st.SearchStrategy[Json] = st.one_of(
    intent_strategy("start", operation=operation),
    intent_strategy("start", operation=operation),
    intent_strategy("finish"),
    intent_strategy("finish"),
    intent_strategy("pause"),
    intent_strategy("move", move=st.sampled_from(["turn", "back"])),
    intent_strategy("record", name=st.just("gap"), value=value, reading=fastener),
    intent_strategy("record", name=st.just("gap"), value=value, used=st.booleans()),
    intent_strategy("remedy", name=st.sampled_from(["gap", "twice"])),
    intent_strategy("remedy", name=st.just("caps"), fastener=fastener),
    intent_strategy("choose", name=st.just("shim"), take=st.sampled_from(["thin", "thick"])),
    intent_strategy("lot", consumable=st.just("oil"), lot=st.just("7")),
    intent_strategy("tick", joint=st.just("caps"), fastener=fastener),
    intent_strategy(
        "tick", joint=st.just("caps"), fastener=fastener, value=value, stretch=value, stage=st.sampled_from([1, 2])
    ),
    intent_strategy("tick", joint=st.just("caps"), fastener=fastener, value=value, loosened=st.booleans()),
    intent_strategy("untick", joint=st.just("caps")),
    intent_strategy("tick-rest", joint=st.just("caps")),
    intent_strategy("stage-again", joint=st.just("caps")),
    intent_strategy(
        "fastener-failed", joint=st.just("caps"), fastener=fastener, what=st.sampled_from(["stripped", "turning"])
    ),
    intent_strategy("repair", joint=st.just("caps"), fastener=fastener, repair=st.just("insert fitted")),
    intent_strategy("draw-down", joint=st.just("caps"), seated=st.booleans()),
    intent_strategy("tick-check", check=st.just(1), undo=st.booleans()),
    intent_strategy("sign", operation=operation, by=st.sampled_from(["Robin", "Kim"])),
    intent_strategy("deviate", operation=operation, about=st.sampled_from(ABOUT), reason=reason),
    intent_strategy("correct", event=st.integers(1, 40), value=value, reason=reason),
    intent_strategy("rework", operation=operation, reason=reason, walk=st.booleans()),
    intent_strategy("rework-step"),
    intent_strategy(
        "set-state",
        variable=st.sampled_from(["crank", "valves"]),
        value=st.sampled_from(["top", "low", "open", None]),
        reason=reason,
    ),
    intent_strategy("wrench", extension=st.sampled_from(["100 mm", "none"]), lever=st.just("400 mm")),
    intent_strategy("note", text=st.just("the phone rang")),
    intent_strategy("close"),
)  # fmt: skip
FIRST_INTENTS: list[Json] = [
    intent("start", operation="fit"), intent("lot", consumable="oil", lot="7"), intent("finish"),
]  # fmt: skip


def without_break(view: BenchView) -> BenchView:
    """The view without the text after a break within a stage, because a new start of the program is a break."""
    if view.now is None:
        return view
    inputs = tuple(replace(one, resume_text="") if isinstance(one, TightenInput) else one for one in view.now.inputs)
    return replace(view, now=replace(view.now, inputs=inputs))


@settings(max_examples=40, deadline=None)
@given(st.lists(intents, max_size=40), st.booleans())
def test_after_random_intents_the_view_is_built_and_a_resumed_session_is_equal(sent: list[Json], fitted: bool) -> None:
    clock = ManualClock()
    with TemporaryDirectory() as folder:
        path = Path(folder) / "log.jsonl"
        controller = SessionController.begin(
            path, load_text(PROCEDURE), file="p.yaml", read=read_procedure, clock=clock
        )
        opened = controller.send({"intent": "open", "by": "Robin", "start": {"crank": "low"}})
        assert isinstance(opened, Accepted)
        for each in [*(FIRST_INTENTS if fitted else []), *sent]:
            clock.advance(40)
            before = controller.state
            reply = controller.send(each)
            if isinstance(reply, Accepted):
                controller.view()
            else:
                assert controller.state is before
        seen, state = controller.view(), controller.state
        controller.close()
        again = SessionController.resume(path, read=read_procedure, clock=clock)
        assert again.state == state
        assert without_break(again.view()) == without_break(seen)
        again.close()
