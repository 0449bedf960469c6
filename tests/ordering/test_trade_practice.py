"""Rules of the trade about the order of work, as small procedures. The proof accepts sound ones and finds unsound ones.

The manuals named here are United States Army technical manuals. The engines are invented. Only the order of work and
its forbidden actions are from the manuals.
"""

from collections.abc import Iterable

import pytest

from benchflow.ordering.actions import DoOperation, MakeMove
from benchflow.ordering.configuration import Configuration
from benchflow.ordering.proof import OrderFinding, prove
from benchflow.ordering.route import SafeRoute, route
from benchflow.procedure.expand import expand
from benchflow.procedure.model import Procedure
from benchflow.procedure.reader import read
from tests.ordering import brute_force
from tests.ordering.condensed import Condensed

HEAD = """\
benchflow: 1
id: rule-of-the-trade
title: One rule of the trade
revision: "1"
notice: The engine is invented.
"""

# Common practice, no source: full lifters hold their valves open until they have bled down, and a piston at the top
# would hit an open valve. The rockers are therefore run down with no piston at the top, and the crank is not turned.
PUSHRODS = """\
state:
  pistons: {values: [at-top, clear], start: ask, ask: Is any piston at the top?}
  valves: {values: [shut, open], start: shut}
interference:
- never: {pistons: at-top, valves: open}
  because: a piston at the top would hit an open valve
moves:
  turn-clear: {title: Turn until no piston is at the top, needs: {valves: shut}, sets: {pistons: clear}}
  turn-to-top: {title: Turn no. 1 to the top, needs: {valves: shut}, sets: {pistons: at-top}}
sections:
- id: work
  title: Valve gear
  operations:
  - {id: drop-in-lifters, title: Drop in the lifters, do: Oil them and drop them in.}
  - id: run-down-rockers
    title: Set in the pushrods and run the rockers down
    after: [drop-in-lifters]
    needs: {pistons: clear}
    sets: {valves: open}
    do: Each pushrod in its cup.
  - id: let-lifters-bleed
    title: Wait until the lifters have bled down
    after: [run-down-rockers]
    sets: {valves: shut}
    do: Wait.
  - id: time-ignition
    title: Set the spark with no. 1 at the top
    after: [let-lifters-bleed]
    needs: {pistons: at-top}
    do: Set it.
"""

# TM 5-3820-256-24-5, checking valve timing: one tooth of the gear train is about 11 degrees of the damper. A valve then
# hits a piston (common practice, no source).
TOOTH_OUT = """\
state:
  belt: {values: [on-marks, tooth-out], start: ask, ask: Are all marks in line?}
  crank: {values: [on-mark, away], start: on-mark}
interference:
- never: {belt: tooth-out, crank: away}
  because: a piston hits a valve if the cam is one tooth out
sections:
- id: work
  title: Timing
  operations:
  - id: set-belt
    title: Fit the belt again, mark to mark
    needs: {crank: on-mark}
    sets: {belt: on-marks}
    do: Fit it.
  - id: turn-twice
    title: Turn the crank twice by hand
    after: [set-belt]
    during: {crank: away}
    do: Turn it.
"""

# TM 5-4930-244-14, assembling piston and rod: the crank is not turned with the clearance strip in the bearing, and all
# of the strip is taken out before the final assembly.
STRIP = """\
state:
  strip: {values: [out, in-bearing], start: out}
  crank: {values: [still, turning], start: still}
interference:
- never: {strip: in-bearing, crank: turning}
  because: a smeared strip gives a false reading and stays in the bearing
sections:
- id: work
  title: Rod bearing
  operations:
  - {id: lay-strip, title: Lay the strip in, sets: {strip: in-bearing}, do: Lay it across the shell.}
  - {id: squeeze-strip, title: Torque the cap, after: [lay-strip], needs: {strip: in-bearing}, do: Torque it.}
  - {id: read-strip, title: Take the cap off and read the strip, after: [squeeze-strip], sets: {strip: out}, do: Read.}
  - {id: torque-cap, title: Oil it and torque the cap, after: [read-strip], needs: {strip: out}, do: Torque it.}
  - {id: feel-drag, title: Turn the crank and feel, after: [torque-cap], during: {crank: turning}, do: Turn it.}
"""

# TM 5-3895-382-24, checking gear timing: the timing pin is taken out, then the crank is turned.
PIN = """\
state:
  crank: {values: [on-mark, away], start: ask, ask: Where is the crank?}
  pin: {values: [out, engaged], start: out}
interference:
- never: {pin: engaged, crank: away}
  because: turning the crank shears the pin
moves:
  turn-to-mark: {title: Turn to the mark, needs: {pin: out}, sets: {crank: on-mark}}
  turn-away: {title: Turn off the mark, needs: {pin: out}, sets: {crank: away}}
sections:
- id: work
  title: Timing
  operations:
  - {id: engage-pin, title: Push the timing pin home, needs: {crank: on-mark}, sets: {pin: engaged}, do: Push it in.}
  - {id: tighten-gear, title: Tighten the gear, after: [engage-pin], needs: {pin: engaged}, do: Tighten it.}
  - {id: pull-pin, title: Pull the timing pin, after: [tighten-gear], sets: {pin: out}, do: Pull it.}
  - {id: turn-twice, title: Turn the crank twice, after: [pull-pin], during: {crank: away}, do: Turn it.}
"""

# TM 9-6115-670-14&P, 5.37: with no. 1 at the top of its compression stroke both valves of no. 1, the exhaust valve of
# no. 2 and the intake valve of no. 3 are set. After one more turn, the remaining four are set.
TWO_POSITIONS = """\
places:
  first: [intake-1, exhaust-1, exhaust-2, intake-3]
  second: [intake-2, exhaust-3, intake-4, exhaust-4]
state:
  crank: {values: [one-firing, four-firing], start: one-firing}
  cover: {values: [off, on], start: off}
moves:
  one-turn-on: {title: Turn the crank once, needs: {crank: one-firing}, sets: {crank: four-firing}}
  one-turn-more: {title: Turn the crank once more, needs: {crank: four-firing}, sets: {crank: one-firing}}
sections:
- id: lash
  title: Valve lash
  operations:
  - id: set-first
    each: first
    title: Set the {first} valve
    needs: {crank: one-firing, cover: off}
    do: Set it.
  - id: set-second
    each: second
    title: Set the {second} valve
    needs: {crank: four-firing, cover: off}
    do: Set it.
- id: close
  title: Close
  operations:
  - {id: cover-on, title: Fit the cover, after: [lash], sets: {cover: "on"}, do: Fit it.}
"""

FIRST = [f"set-first[{valve}]" for valve in ("intake-1", "exhaust-1", "exhaust-2", "intake-3")]

SOUND = {
    "pushrods only with no piston at the top": PUSHRODS,
    "a cam one tooth out strikes": TOOTH_OUT,
    "no turning on the clearance strip": STRIP,
    "no turning on the timing pin": PIN,
    "lash in two crank positions": TWO_POSITIONS,
}


def parsed(body: str) -> Procedure:
    reading = read(HEAD + body)
    assert reading.procedure is not None, reading.problems
    return reading.procedure


def without(body: str, line: str, instead: str = "") -> Procedure:
    assert body.count(line) == 1, line
    return parsed(body.replace(line, instead))


def orders_by_finding(findings: Iterable[OrderFinding]) -> dict[tuple[str, str], list[str] | None]:
    return {(f.code, f.where): list(f.order) if isinstance(f.order, tuple) else None for f in findings}


@pytest.mark.parametrize("body", SOUND.values(), ids=SOUND)
def test_sound_trade_practice_has_no_findings(body: str) -> None:
    procedure = parsed(body)
    proof = prove(procedure)
    assert proof.findings == ()
    assert proof.complete
    truth = Condensed(expand(procedure, {}))
    assert (truth.dead_end, truth.breach, truth.unreachable) == (None, None, frozenset())


BROKEN = {
    "rockers run down over a piston at the top": (
        without(PUSHRODS, "    needs: {pistons: clear}\n"),
        {("interlock-needed", "run-down-rockers"): ["drop-in-lifters", "run-down-rockers"]},
    ),
    "crank turned to the top while the lifters still hold the valves open": (
        without(PUSHRODS, "title: Turn no. 1 to the top, needs: {valves: shut}", "title: Turn no. 1 to the top"),
        {("interlock-needed", "turn-to-top"): ["drop-in-lifters", "run-down-rockers", "turn-to-top"]},
    ),
    "crank turned before the belt is fitted again": (
        without(TOOTH_OUT, "    after: [set-belt]\n"),
        {("interlock-needed", "turn-twice"): ["turn-twice"]},
    ),
    "engine received with the belt one tooth out and the crank in any position": (
        without(TOOTH_OUT, "[on-mark, away], start: on-mark", "[on-mark, away], start: ask, ask: Where?"),
        {("forbidden-start", "interference[1]"): None, ("dead-end", "state.belt"): []},
    ),
    "crank turned with the strip in the bearing": (
        without(STRIP, "after: [torque-cap], during", "after: [squeeze-strip], during"),
        {("interlock-needed", "feel-drag"): ["lay-strip", "squeeze-strip", "feel-drag"]},
    ),
    "strip squeezed after the final assembly of the bearing": (
        without(STRIP, "after: [read-strip], needs: {strip: out}", "needs: {strip: out}"),
        # The strip is laid in after the final assembly, and then the crank is turned: only the interlock prevents it.
        {("interlock-needed", "feel-drag"): ["torque-cap", "lay-strip", "feel-drag"]},
    ),
    "crank turned with the pin engaged": (
        without(PIN, "after: [pull-pin], during", "during"),
        {("interlock-needed", "turn-twice"): ["engage-pin", "turn-twice"]},
    ),
    "crank turned between operations with the pin engaged": (
        without(PIN, "title: Turn off the mark, needs: {pin: out}", "title: Turn off the mark"),
        {("interlock-needed", "turn-away"): ["engage-pin", "turn-away"]},
    ),
    "pin never pulled": (
        without(PIN, "after: [tighten-gear], sets: {pin: out}", "after: [tighten-gear]"),
        {
            ("unreachable-operation", "turn-twice"): None,
            ("dead-end", "turn-twice"): [],
            ("interlock-needed", "turn-twice"): ["engage-pin", "tighten-gear", "pull-pin", "turn-twice"],
        },
    ),
    "no move to the second position": (
        without(
            TWO_POSITIONS,
            "  one-turn-on: {title: Turn the crank once, needs: {crank: one-firing}, sets: {crank: four-firing}}\n",
        ),
        {
            ("unreachable-operation", "set-second"): None,
            ("unreachable-operation", "cover-on"): None,
            ("dead-end", "set-second"): [],
        },
    ),
    "cover on before every valve is set": (
        without(TWO_POSITIONS, "after: [lash], ", "after: [set-first], "),
        {("dead-end", "cover-on"): [*FIRST, "cover-on"]},
    ),
}


@pytest.mark.parametrize(("procedure", "expected"), BROKEN.values(), ids=BROKEN)
def test_unsound_practice_is_found_with_a_shortest_order(
    procedure: Procedure, expected: dict[tuple[str, str], list[str] | None]
) -> None:
    proof = prove(procedure)
    assert orders_by_finding(proof.findings) == expected
    truth = brute_force.Verdicts(expand(procedure, {}))
    lengths = {code: len(order) for (code, _), order in expected.items() if order is not None}
    assert lengths.get("dead-end") == truth.dead_end
    assert lengths.get("interlock-needed") == truth.breach


def test_route_sets_every_valve_once_and_turns_the_crank_once() -> None:
    plan = expand(parsed(TWO_POSITIONS), {})
    found = route(plan, Configuration(frozenset(), {"crank": "one-firing", "cover": "off"}), "cover-on")
    assert isinstance(found, SafeRoute)
    done = [action.operation for action in found.steps if isinstance(action, DoOperation)]
    assert sorted(done) == sorted(plan.steps)
    assert [action.move for action in found.steps if isinstance(action, MakeMove)] == ["one-turn-on"]
