"""The key `hold`: who signs an operation."""

import re

from benchflow.procedure.keys.evidence_keys import WAIVE
from benchflow.procedure.model import Hold
from benchflow.procedure.shapes.basic_shapes import FILLED_LINE, LINE, BooleanShape
from benchflow.procedure.shapes.keyed_shapes import Fields, Key, KeyedShape

_BY = Key("by", LINE, "The role that signs, such as inspector.", required=True)
_FOR = Key("for", FILLED_LINE, "The statement that is signed.")
_SECOND_PERSON = Key(
    "second-person", BooleanShape(), "true if the signer must be somebody who entered nothing in the operation."
)
_WAIVE_HOLD = Key(
    "waive",
    WAIVE.shape,
    "Who can sign a deviation about it: `never`, or a role that the person needs besides the role that signs.",
    examples=("never",),
)


_SOMEBODY_ELSE = re.compile(
    r"(?:an?\s+|the\s+)?(?:second|2nd|other|another|different)\s+(?:person|man|woman|pair\s+of\s+eyes)"
    r"|(?:some(?:body|one)|anybody|anyone)\s+else",
    re.IGNORECASE,
)
_SECOND_PERSON_HINT = (
    "Write `{by: ROLE, second-person: true}`, with the role that signs, such as inspector, in place of ROLE"
)


def _hold_in_words(text: str) -> str:
    """The hint for a text under `hold`; "" if the text can be a role."""
    return _SECOND_PERSON_HINT if _SOMEBODY_ELSE.fullmatch(text.strip()) else ""


def _hold(fields: Fields) -> Hold:
    by = fields.get_or(_BY, "")
    if _SOMEBODY_ELSE.fullmatch(by):
        message = f"`{by}` is read as the name of a role. It does not say that somebody else must sign"
        fields.context.problem("bad-name", fields.at(_BY), message, _SECOND_PERSON_HINT, "warning")
    return Hold(
        by,
        fields.get_or(_FOR, ""),
        fields.node.mark,
        fields.get_or(_SECOND_PERSON, False),
        fields.get_or(_WAIVE_HOLD, ""),
    )


HOLD = Key(
    "hold",
    KeyedShape("hold", "`hold`", (_BY, _FOR, _SECOND_PERSON, _WAIVE_HOLD), _hold, text_hint=_hold_in_words),
    "The role that must sign. Without the signature, the operation is not finished and no later one can start.",
)
