"""What each finding about the order means and how it is mended, with an example that is run by the tests.

An example is what stands in a procedure's file below its head; mending it changes one piece of its text.
"""

import textwrap
from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from benchflow.ordering.proof.proof_findings import Code

_WIDTH = 90


class FindingExplanation(Struct, frozen=True):
    """``before`` gives the finding. With ``was`` (which stands in it once) changed to ``becomes`` it gives it no more.
    ``bound`` is the bound of the proof, where the finding hangs on it."""

    meaning: str
    mending: str
    before: str
    was: str
    becomes: str
    bound: int | None = None

    @property
    def after(self) -> str:
        return self.before.replace(self.was, self.becomes)


EXAMPLES: "dict[Code, FindingExplanation]" = {
    "forbidden-start": FindingExplanation(
        "An error. The procedure allows the assembly to stand, when the session opens, in a way that its own rules "
        "forbid. The builder would begin with the damage done, or the rule does not say what was meant.",
        "Take the value out of those that the variable can start with, give a variable that starts at a value "
        "another one, or make the rule say less. A variable that is asked for (`start: ask`) can start with any of "
        "its values.",
        """\
state:
  pistons: {values: [at-deck, down], start: ask, ask: How do the pistons stand?}
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
        "An error. Some order that the procedure allows leads, step by step and with the interlock on, to a place "
        "from which the build can no longer be finished: whatever is done next, something is always left over. The "
        "order that is shown with the finding is a shortest one. Where something can never be done at all, the start "
        "itself is such a place.",
        "Look at what the last step of the order took away for good, and at what still needed it. Then let what "
        "needs it come first (`after`), or give a move or an operation that brings it back.",
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
        "An error. With the interlock on, no order that the procedure allows ever does the operation, from any start. "
        "It needs a state that nothing brings about, passes a forbidden configuration however it is done, or comes "
        "after an operation of which that is true.",
        "The finding says what stands in the way. As a rule a move is missing, a value in `needs` is misspelt for "
        "another one that exists, or a rule is wider than was meant.",
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
        "An error. `after` runs in a circle: each of the operations named waits for another of them, so none can ever "
        "be begun. A time window counts as an `after` as well.",
        "Find the one line that says the opposite of what is done at the bench, and take it out.",
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
        "A warning. `after` and `needs` alone allow an order that passes a forbidden configuration. At the bench the "
        "interlock stops it; on a printed copy nothing does. The order that is shown is a shortest such order.",
        "The finding names the smallest set of `after` or `needs` lines that make the procedure safe on paper. Add "
        "them, and a builder who reads sees what the interlock knows. Leave it where nobody will ever work from "
        "paper.",
        """\
state:
  pistons: {values: [at-deck, down], start: ask, ask: How do the pistons stand?}
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
        "An error. No timing keeps all the time windows, in any order that is allowed: what has to be done before a "
        "window closes takes longer than the window is open, or one window ends before another begins. It is reckoned "
        "with the least that each operation `takes`; one without that is reckoned as taking no time.",
        "The finding names the windows that contradict each other. Let what takes long be done before the window "
        "opens, take a material that stays open longer, or correct the duration.",
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
    "redundant-after": FindingExplanation(
        "A note. Other lines already put the operation there: what comes before it comes, by way of something else, "
        "before it anyway. Nothing is wrong, and the order is the same without the line.",
        "Take the line out, so that whoever changes the order later has one place to change. Leave it where it tells "
        "the reader something.",
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
    "not-explored": FindingExplanation(
        "A warning. The procedure allows more than was looked at, so its order is NOT proven. What was proven so far "
        "stands in the finding; everything else may still hold a mistake.",
        "Raise the bound (`check --bound`), as far as time and memory go. Or make the procedure narrower: operations "
        "that are in truth done one after the other should say so with `after`, and states that have nothing to do "
        "with each other should not share a rule or an operation. The example is not explored with a bound of {bound}.",
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
        bound=3,
    ),
}
"""By code of a finding about the order."""


def _text(code: "Code", each: FindingExplanation) -> str:
    def indented(text: str) -> str:
        return textwrap.indent(text.rstrip(), "    ")

    mending = each.mending if each.bound is None else each.mending.format(bound=each.bound)
    paragraphs = [
        code,
        textwrap.fill(each.meaning, _WIDTH),
        textwrap.fill(f"How it is mended: {mending}", _WIDTH),
        f"For example:\n\n{indented(each.before)}",
        f"Mended by changing\n\n{indented(each.was)}\n\nto\n\n{indented(each.becomes)}",
    ]
    return "\n\n".join(paragraphs)


EXPLANATIONS: dict[str, str] = {code: _text(code, each) for code, each in EXAMPLES.items()}
"""The same as text for a terminal, by code."""
