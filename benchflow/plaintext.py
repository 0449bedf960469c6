"""Text from a file or a person is text: nothing in it may steer a terminal or turn the reading direction round.

Taken out are the control characters of C0 and C1 (ESC among them), DEL, the marks that embed, override or
isolate a reading direction, the invisible format characters that have no business in plain words (zero-width
no-break space, word joiner, soft hyphen, annotation and tag characters), noncharacters and lone surrogates.
The zero-width joiner and non-joiner stay: scripts need them. Ranges: the Unicode Character Database, from memory.
"""

import re

_UNSEEN = (
    "\x00-\x08\x0b\x0c\x0e-\x1f"  # C0 without tab, line feed, carriage return
    "\x7f-\x84\x86-\x9f"  # DEL and C1 without NEL, which is a line break
    "\u00ad\u061c\u180e\u200b\u200e\u200f\u202a-\u202e\u2060-\u206f\ufeff"
    "\ufff9-\ufffb\ufdd0-\ufdef\ufffe\uffff\ud800-\udfff"
    "\U000e0000-\U000e0fff"
    + "".join(f"{chr(plane << 16 | 0xFFFE)}{chr(plane << 16 | 0xFFFF)}" for plane in range(1, 17))
)
_unseen = re.compile(f"[{_UNSEEN}]")
_breaks = re.compile("\r\n|[\r\x85\u2028\u2029]")
_dirty = re.compile(f"[{_UNSEEN}\t\r\x85\u2028\u2029]")
_space = re.compile(r"\s+")


def unseen(text: str) -> tuple[str, ...]:
    """The characters that :func:`clean` takes out, each once, in the order they appear."""
    return tuple(dict.fromkeys(_unseen.findall(text)))


def clean(text: str) -> str:
    """``text`` without anything that could steer a terminal. Line breaks stay (as ``\\n``); a tab becomes a space."""
    if _dirty.search(text) is None:
        return text
    return _unseen.sub("", _breaks.sub("\n", text)).replace("\t", " ")


def clean_line(text: str) -> str:
    """``text`` cleaned and on one line: every run of white space is one space, none at the ends."""
    return _space.sub(" ", clean(text)).strip()
