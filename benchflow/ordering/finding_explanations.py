"""The explanation of each finding about the order: its meaning, how to correct it, and an example that the tests run.

An example is part of a procedure file, without the first lines. The correction replaces one piece of that text.
"""

import textwrap
from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from benchflow.ordering.proof.proof_findings import Code

_WIDTH = 90


class FindingExplanation(Struct, frozen=True):
    """The explanation of a finding.

    ``before`` is an example that has the finding. Replacing ``was``, which occurs once, by ``becomes`` removes the
    finding. ``bound`` is the bound of the proof, if the finding depends on it.
    """

    meaning: str
    correction: str
    before: str
    was: str
    becomes: str
    bound: int | None = None

    @property
    def corrected(self) -> str:
        """The example after the correction."""
        return self.before.replace(self.was, self.becomes)


EXAMPLES: "dict[Code, FindingExplanation]" = {
    "forbidden-start": FindingExplanation(
        "An error. The procedure allows a job to start in a state that its own rules forbid. Either the parts "
        "would collide at the start, or the rule forbids more than intended.",
        "Remove the value from those that the variable can start with, start the variable at another value, or "
        "narrow the rule. A variable with `start: ask` can start with any of its values.",
        """\
state:
  pistons: {values: [at-deck, down], start: ask, ask: Where are the pistons?}
  valves: {values: [shut, open], start: open}
interference:
- never: {pistons: at-deck, valves: open}
  because: an open valve would reach the pistons
sections:
- id: head
  title: Head
  operations:
  - {id: set-head-down, title: Set the head down}
""",
        "values: [shut, open], start: open",
        "values: [shut, open], start: shut",
    ),
    "dead-end": FindingExplanation(
        "An error. Some order that the procedure allows, with the interlock on, leads to a point from which the "
        "build cannot be finished: some operation always remains. The order shown with the finding is a shortest "
        "one. If an operation can never be done at all, the start itself is a dead end. A finding with `unknown` says "
        "that the variables there are not known in this order, because a proof (`proves`) was waived or is in doubt.",
        "Find what the last step of the order made impossible, and which operation still needed it. Put that "
        "operation first (`after`), or add a move or an operation that restores the state.",
        """\
state:
  pin: {values: [out, in], start: out}
sections:
- id: timing
  title: Timing
  operations:
  - {id: turn-engine, title: Turn the engine round by hand, needs: {pin: out}}
  - {id: fit-pin, title: Fit the timing pin, sets: {pin: in}}
""",
        "title: Fit the timing pin, sets",
        "title: Fit the timing pin, after: [turn-engine], sets",
    ),
    "unreachable-operation": FindingExplanation(
        "An error. With the interlock on, no order that the procedure allows does the operation, from any start. "
        "It needs a state that nothing sets, it always breaks a rule, or it comes after an operation that is "
        "never done.",
        "The finding says what blocks the operation. Usually a move is missing, `needs` names the wrong value, "
        "or a rule forbids more than intended.",
        """\
state:
  pistons: {values: [at-deck, down], start: at-deck}
sections:
- id: head
  title: Head
  operations:
  - {id: set-head-down, title: Set the head down, needs: {pistons: down}}
""",
        "sections:",
        "moves:\n  turn-crank: {title: Turn the crank, sets: {pistons: down}}\nsections:",
    ),
    "order-cycle": FindingExplanation(
        "An error. `after` runs in a cycle: each of the named operations waits for another of them, so none of "
        "them can be done. A time window and the order of places count as an `after` too. `again` and findings in "
        "`when` must not run in a cycle either.",
        "Find the line that contradicts what is done at the bench, and remove it.",
        """\
sections:
- id: cover
  title: Cover
  operations:
  - {id: fit-cover, title: Fit the cover, after: [fit-seal]}
  - {id: fit-seal, title: Fit the seal, after: [fit-cover]}
""",
        "title: Fit the cover, after: [fit-seal]",
        "title: Fit the cover",
    ),
    "interlock-needed": FindingExplanation(
        "A warning. `after` and `needs` alone allow an order that breaks a rule. At the bench the interlock "
        "prevents it. A printed copy does not. The order shown is a shortest such order.",
        "The finding names the smallest set of `after` or `needs` lines that makes the procedure safe on paper. "
        "Add them. You can leave the warning if nobody ever works from paper.",
        """\
state:
  pistons: {values: [at-deck, down], start: ask, ask: Where are the pistons?}
  valves: {values: [shut, open], start: shut}
interference:
- never: {pistons: at-deck, valves: open}
  because: an open valve would reach the pistons
moves:
  turn-crank: {title: Turn the crank half way down, sets: {pistons: down}}
sections:
- id: cams
  title: Cams
  operations:
  - {id: seat-cam, title: Seat the intake cam, sets: {valves: open}}
""",
        "title: Seat the intake cam, sets",
        "title: Seat the intake cam, needs: {pistons: down}, sets",
    ),
    "time-conflict": FindingExplanation(
        "An error. No order keeps all time windows: the work to do before a window closes takes longer than the "
        "window, or one window closes before another opens. Each operation counts with the minimum that it "
        "`takes`, or as taking no time if it has none.",
        "The finding names the windows that contradict each other. Do the long work before the window opens, use "
        "a material that stays open longer, or correct the duration.",
        """\
sections:
- id: sealing
  title: Sealing
  operations:
  - {id: apply-sealant, title: Apply the sealant}
  - {id: clean-flange, title: Clean the flange, after: [apply-sealant], takes: 15 min}
  - {id: fit-cover, title: Fit the cover, after: [clean-flange], time: {apply-sealant: at most 10 min}}
""",
        "title: Clean the flange, after: [apply-sealant], takes",
        "title: Clean the flange, takes",
    ),
    "vacuous-rule": FindingExplanation(
        "A warning. Nothing in the procedure can bring about what the rule forbids, in whatever order: a value in it "
        "is set by no line, or its values never come together. So the rule protects from nothing. A rule that the "
        "`after` and `needs` lines enforce is not reported.",
        "Write what the operations do to the state (`sets`, `during`), or correct the values in the rule. Delete a "
        "rule that is not needed. If the parts can already be in this state, write who may enter it (`found`).",
        """\
state:
  pistons: {values: [at-deck, down], start: at-deck}
  valves: {values: [shut, open], start: shut}
interference:
- never: {pistons: at-deck, valves: open}
  because: an open valve would reach the pistons
moves:
  turn-down: {title: Turn the crank until the pistons are down, sets: {pistons: down}}
sections:
- id: head
  title: Head
  operations:
  - {id: seat-cam, title: Seat the cam, needs: {pistons: down}, sets: {valves: shut}}
""",
        "sets: {valves: shut}}",
        "sets: {valves: open}}",
    ),
    "redundant-after": FindingExplanation(
        "A note. Other lines already imply this one, so the order is the same without it. The procedure is correct.",
        "Remove the line, so that there is one place to change later. Keep it if it helps the reader.",
        """\
sections:
- id: head
  title: Head
  operations:
  - {id: clean-face, title: Clean the face}
  - {id: lay-gasket, title: Lay the gasket, after: [clean-face]}
  - {id: set-head-down, title: Set the head down, after: [clean-face, lay-gasket]}
""",
        "after: [clean-face, lay-gasket]",
        "after: [lay-gasket]",
    ),
    "value-absent": FindingExplanation(
        "An error. A formula, a choice, a matching or a relative limit needs a value that is not there: its operation "
        "is not part of some build, or it is not done before in some order. The operation that needs it then cannot "
        "be finished.",
        "Put the operation that has the value first (`after`). Give both the same `when` if it is left out of some "
        "builds, or measure the value in every build.",
        """\
sections:
- id: bearings
  title: Bearings
  operations:
  - {id: measure-bore, title: Measure the bore, record: {bore: {unit: mm}}}
  - id: measure-journal
    title: Measure the journal
    record: {journal: {unit: mm}}
    work-out: {clearance: {is: bore - journal, unit: mm}}
""",
        "title: Measure the journal",
        "title: Measure the journal\n    after: [measure-bore]",
    ),
    "unreachable-remedy": FindingExplanation(
        "An error. A remedy says to redo an operation that cannot be redone from there: it is not always done before, "
        "it or what depends on it has no `undo`, it is not part of some build, no moves bring about what its `undo` "
        "needs, or no way leads back to the measuring operation.",
        "Put the operation before the measuring one (`after`), write how it is undone (`undo`), or add a move. An "
        "operation can also redo itself.",
        """\
sections:
- id: bearings
  title: Bearings
  operations:
  - {id: torque-caps, title: Torque the caps}
  - id: measure-play
    title: Measure the end play
    after: [torque-caps]
    record:
      play:
        limit: 0.10 .. 0.28 mm
        below: [{do: Loosen the caps and seat them again, redo: [torque-caps]}]
""",
        "title: Torque the caps",
        "title: Torque the caps, undo: {do: Loosen the caps}",
    ),
    "never-restored": FindingExplanation(
        "An error. A temporary setting stays: in some build the operation that restores it is left out, or in some "
        "order it is done before the setting is made, and has no `undo`, so that it is not done again.",
        "Put the setting before the operation that restores it (`after`). Give both the same `when` if they are left "
        "out of some builds.",
        """\
sections:
- id: chain
  title: Chain
  operations:
  - {id: hold-chain, title: Hold the chain up, temporary: {restored-by: release-chain}}
  - {id: release-chain, title: Release the chain}
""",
        "title: Release the chain",
        "title: Release the chain, after: [hold-chain]",
    ),
    "operation-absent": FindingExplanation(
        "An error. `takes-apart` names an operation that is not part of some build in which the operation itself is, "
        "so there is nothing to take apart.",
        "Give both operations the same `when`, or name another operation.",
        """\
options:
  fit: {ask: Which fit?, choices: [trial, direct]}
sections:
- id: head
  title: Head
  operations:
  - {id: trial-head, title: Put the head on for a trial, when: {fit: trial}}
  - {id: lift-head, title: Lift the head, takes-apart: [trial-head]}
""",
        "title: Lift the head, takes-apart",
        "title: Lift the head, when: {fit: trial}, takes-apart",
    ),
    "missing-undo": FindingExplanation(
        "A note. A time window can close at the bench, and the procedure has nothing that opens it again: what its "
        "time counts from has no `undo`, so it cannot be done again. Then only a signed deviation is left. It is a "
        "warning if nobody may sign one (`waive: never`), and also if a remedy redoes an operation whose window has "
        "closed.",
        "Write `undo` for the operation that the time counts from and for those between, or name it under `restarts` "
        "of the operation, move or remedy that starts its time again. Add it to `redo` of the remedy.",
        """\
sections:
- id: cover
  title: Cover
  operations:
  - {id: spread-sealant, title: Spread the sealant}
  - {id: fit-cover, title: Fit the cover, time: {spread-sealant: {limit: at most 8 min, waive: never}}}
""",
        "title: Spread the sealant}",
        "title: Spread the sealant, undo: {do: Wipe the sealant off both faces}}",
    ),
    "waits-for-nothing": FindingExplanation(
        "A note. An operation of a later section waits for nothing, so the bench offers it at the very start. That is "
        "right for work that can be done at any time. Often its `after` was forgotten.",
        "Write `after` with what has to be done before, or `needs` with the state that it needs.",
        """\
sections:
- id: case
  title: Case
  operations:
  - {id: close-case, title: Close the case}
- id: oil
  title: Oil
  operations:
  - {id: fit-drain-plug, title: Fit the drain plug}
""",
        "title: Fit the drain plug}",
        "title: Fit the drain plug, after: [close-case]}",
    ),
    "not-explored": FindingExplanation(
        "A warning. The procedure allows more than was checked, so its order is NOT proven. The finding says "
        "what was proven; the rest may still contain a mistake.",
        "Raise the bound (`check --bound`) as far as time and memory allow. Or make the procedure narrower: add "
        "`after` between operations that are always done in that order, and keep unrelated states out of the "
        "same rule or operation. The example is not proven with a bound of {bound}.",
        """\
state:
  crank: {values: [no-1-up, no-4-up], start: no-1-up}
moves:
  turn-to-1: {title: Turn the crank until no. 1 is up, sets: {crank: no-1-up}}
  turn-to-4: {title: Turn the crank until no. 4 is up, sets: {crank: no-4-up}}
sections:
- id: lash
  title: Lash
  operations:
  - {id: set-1, title: Set the lash of no. 1, needs: {crank: no-1-up}}
  - {id: set-4, title: Set the lash of no. 4, needs: {crank: no-4-up}}
""",
        "title: Set the lash of no. 4, needs",
        "title: Set the lash of no. 4, after: [set-1], needs",
        bound=7,
    ),
}
"""The explanation for each code."""


def _text(code: "Code", explanation: FindingExplanation) -> str:
    def indented(text: str) -> str:
        return textwrap.indent(text.rstrip(), "    ")

    correction = (
        explanation.correction if explanation.bound is None else explanation.correction.format(bound=explanation.bound)
    )
    paragraphs = [
        code,
        textwrap.fill(explanation.meaning, _WIDTH),
        textwrap.fill(f"How to correct it: {correction}", _WIDTH),
        f"For example:\n\n{indented(explanation.before)}",
        f"Corrected by changing\n\n{indented(explanation.was)}\n\nto\n\n{indented(explanation.becomes)}",
    ]
    return "\n\n".join(paragraphs)


EXPLANATIONS: dict[str, str] = {code: _text(code, each) for code, each in EXAMPLES.items()}
"""The text of each explanation for a terminal, by the code of the finding."""
