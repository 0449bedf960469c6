"""The keys of the shop file for the letterhead of the build sheets."""

import re

from benchflow.procedure.model import Ref
from benchflow.procedure.shapes.basic_shapes import LINE, ListShape, TransformedShape
from benchflow.procedure.shapes.keyed_shapes import Fields, Key
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.yaml_source.yaml_nodes import YamlNode
from benchflow.session.shop.register import Letterhead

_MOST_ADDRESS_LINES, _MOST_LINE = 6, 80
"""The largest numbers of address lines, and of characters in a line, that fit on the letterhead. (Own rule.)"""

_TELEPHONE = re.compile(r"[0-9+()/. -]*([0-9][0-9+()/. -]*){3,}", re.ASCII)
_EMAIL = re.compile(r"[^\s@<>\",;:]+@[^\s@<>\",;:]+")
_LOGO = re.compile(r"[^/\\]+\.(png|jpe?g)", re.IGNORECASE)


def _letterhead_text(form: re.Pattern[str], noun: str, hint: str) -> TransformedShape[str, str]:
    """A line of the letterhead that has the ``form``."""

    def read(text: str, node: YamlNode, name: Ref, context: ReadContext) -> str | None:
        if len(text) <= _MOST_LINE and form.fullmatch(text):
            return text
        context.problem("bad-letterhead", node.mark, f"`{text[:40]}` is not {noun}", hint)
        return None

    return TransformedShape(LINE, read)


_ANY_LINE = re.compile(r".+")
_ADDRESS = Key(
    "address",
    ListShape(
        _letterhead_text(_ANY_LINE, "a line of an address", f"Write at most {_MOST_LINE} characters on a line"),
        single=True, at_least=1,
    ),
    "The address on the build sheets: one line, or a list of at most six.",
    examples=(["12 Quay Road", "Smalltown"],),
)  # fmt: skip
_TELEPHONE_KEY = Key(
    "telephone",
    _letterhead_text(_TELEPHONE, "a telephone number", "Write digits, spaces, + - / . and brackets"),
    "The telephone number on the build sheets.",
    examples=("01234 567890",),
)
_EMAIL_KEY = Key(
    "email",
    _letterhead_text(_EMAIL, "an e-mail address", "Write it like bench@example.org"),
    "The e-mail address on the build sheets.",
    examples=("bench@example.org",),
)
_LOGO_KEY = Key(
    "logo",
    _letterhead_text(_LOGO, "the name of a PNG or JPEG file beside the register", "Write it like logo.png"),
    "The logo on the build sheets: the name of a PNG or JPEG file in the folder of the register, at most 256 KiB.",
    examples=("logo.png",),
)


LETTERHEAD_KEYS = (_ADDRESS, _TELEPHONE_KEY, _EMAIL_KEY, _LOGO_KEY)


def read_letterhead(fields: Fields) -> Letterhead:
    """The letterhead in the shop file. The logo itself is not read."""
    address = fields.get_or(_ADDRESS, ())
    if len(address) > _MOST_ADDRESS_LINES:
        hint = "Put two of them on one line"
        fields.problem("bad-letterhead", _ADDRESS, f"The address has more than {_MOST_ADDRESS_LINES} lines", hint)
    return Letterhead(
        address, fields.get_or(_TELEPHONE_KEY, ""), fields.get_or(_EMAIL_KEY, ""), fields.get_or(_LOGO_KEY, "")
    )
