"""Keys that several others share: `waive`, `proves` and `found` about evidence, and `restarts` about clocks."""

from benchflow.procedure.shapes.basic_shapes import LINE, ListShape
from benchflow.procedure.shapes.keyed_shapes import Key
from benchflow.procedure.shapes.reference_shapes import ReferenceShape

WAIVE = Key(
    "waive",
    LINE,
    "Who can sign a deviation about it: `anyone` (the default), a role such as inspector, or `never`.",
    examples=("never", "inspector"),
)
PROVES = Key(
    "proves",
    ListShape(ReferenceShape("state", "a state variable"), single=True, distinct=True),
    "The state variables that it proves. If a deviation waives it, they are not known afterwards, instead of set.",
    examples=("casing",),
)
FOUND = Key(
    "found",
    LINE,
    "Who can enter the value as found (`set-state`): `anyone` (the default), a role such as inspector, or `never`. A "
    "role is also wanted for a value entered at the start. That the value is not known can be entered by anyone.",
    examples=("never",),
)
RESTARTS = Key(
    "restarts",
    ListShape(ReferenceShape("operation", "an operation's id"), single=True, distinct=True),
    "The operations whose clocks start again: the time windows that count from them then count from here, also one "
    "that had closed.",
    examples=(["apply-cement"],),
)
