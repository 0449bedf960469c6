"""An example of each intent, as `benchflow drive --intents` prints it."""

from typing import Any

from benchflow.session.intents.intent_types import INTENT_TYPES

INTENT_EXAMPLES: dict[str, dict[str, Any]] = {
    "open": {"by": "Robin", "unit": "job 1", "options": {"cams": "stock"}, "start": {"pistons": "at-deck"}},
    "status": {},
    "why": {"operation": "seat-cam"},
    "route": {"operation": "seat-cam"},
    "rework-plan": {"operation": "seat-cam"},
    "start": {"operation": "seat-cam"},
    "pause": {},
    "finish": {},
    "move": {"move": "turn-crank-down"},
    "record": {"name": "end-play", "value": "0.12 mm", "reading": 2, "instrument": "G-17"},
    "tick": {"joint": "head-studs", "fastener": 3, "value": "62 N·m", "loosened": True},
    "figure": {"joint": "head-studs", "stage": 1, "value": "110 ft-lb", "from": "bulletin 4"},
    "tick-rest": {"joint": "head-studs", "stage": 2},
    "untick": {"joint": "head-studs"},
    "stage-again": {"joint": "head-studs"},
    "fastener-failed": {"joint": "head-studs", "fastener": 3, "what": "stripped", "value": "45 N·m"},
    "repair": {"joint": "head-studs", "fastener": 3, "repair": "M10 thread insert fitted"},
    "draw-down": {"joint": "head-studs", "seated": True},
    "tick-check": {"check": "loose", "answer": "no"},
    "choose": {"name": "gasket", "take": "two notches"},
    "lot": {"consumable": "sealant", "lot": "B-1209"},
    "sign": {"operation": "head-down", "by": "Kim", "pin": "2417"},
    "deviate": {"operation": "measure", "about": "gap[2]", "reason": "The maker agreed by mail", "by": "Kim"},
    "remedy": {"name": "head-studs", "fastener": 3},
    "rework": {"operation": "seat-cam", "reason": "The cam is one tooth off", "walk": True},
    "rework-step": {},
    "note": {"text": "The old gasket was torn at the rear", "change": True},
    "correct": {"event": 17, "value": "0.21 mm", "reason": "Misread the thimble"},
    "wrench": {"extension": "120 mm", "lever": "380 mm", "angle": "90°"},
    "lubricant": {"joint": "head-studs", "lubricant": "moly paste", "nut-factor": "0.12"},
    "set-state": {"variable": "pistons", "value": "down", "reason": "Seen through the plug hole"},
    "take-over": {"operation": "seat-cam", "by": "Kim"},
    "complaint": {"text": "losing water", "running": "no", "since": "40 h", "when": "hot", "retorque": "no"},
    "found": {
        "complaint": "losing water",
        "finding": "Sealant was skinned over",
        "outcome": "ours",
        "operation": "seal",
        "hours": "6",
    },
    "attach": {"file": "IMG_0012.jpg", "joint": "head-studs", "fastener": 3, "text": "Thread before cleaning"},
    "withdraw": {"event": 412, "reason": "It was the other engine"},
    "close": {"unfinished": "The customer took the engine home"},
}
"""The fields of an example of each intent, by the name of the intent. All names in them are invented."""


def intent_purpose(name: str) -> str:
    """What an intent is for, on one line: the first paragraph about its class."""
    first = (INTENT_TYPES[name].__doc__ or "").partition("\n\n")[0]
    return " ".join(first.split()).replace("``", "`")


def intent_example(name: str) -> dict[str, Any]:
    """An intent as a script sends it; only its name if there is no example."""
    return {"intent": name, **INTENT_EXAMPLES.get(name, {})}
