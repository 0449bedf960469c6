"""Removes characters that could control a terminal, change the reading direction, or stay invisible.

Removed: the control characters of C0 and C1 (including ESC) and DEL; characters that embed, override or isolate a
reading direction; invisible format characters (zero-width no-break space, word joiner, soft hyphen, annotation and
tag characters); noncharacters and lone surrogates. The zero-width joiner and non-joiner stay, because some scripts
need them. Source of the ranges: the Unicode Character Database, from memory.
"""

import os
import re
import unicodedata
from collections.abc import Sequence

_UNSAFE = (
    "\x00-\x08\x0b\x0c\x0e-\x1f"  # C0 without tab, line feed, carriage return
    "\x7f-\x84\x86-\x9f"  # DEL and C1 without NEL, which is a line break
    "\u00ad\u061c\u180e\u200b\u200e\u200f\u202a-\u202e\u2060-\u206f\ufeff"
    "\ufff9-\ufffb\ufdd0-\ufdef\ufffe\uffff\ud800-\udfff"
    "\U000e0000-\U000e0fff"
    + "".join(f"{chr(plane << 16 | 0xFFFE)}{chr(plane << 16 | 0xFFFF)}" for plane in range(1, 17))
)
_unsafe = re.compile(f"[{_UNSAFE}]")
_line_breaks = re.compile("\r\n|[\r\x85\u2028\u2029]")
_needs_cleaning = re.compile(f"[{_UNSAFE}\t\r\x85\u2028\u2029]")
_white_space = re.compile(r"\s+")


def unsafe_characters(text: str) -> tuple[str, ...]:
    """The characters that :func:`clean` removes, each once, in order of appearance."""
    return tuple(dict.fromkeys(_unsafe.findall(text)))


def clean(text: str) -> str:
    """``text`` without the unsafe characters. Every line break becomes ``\\n``, a tab becomes a space."""
    if _needs_cleaning.search(text) is None:
        return text
    return _unsafe.sub("", _line_breaks.sub("\n", text)).replace("\t", " ")


def shown_path(path: str | os.PathLike[str]) -> str:
    """``path`` for people, on one line: bytes that are not UTF-8 and characters that could do harm as ``\\xff``."""
    text = os.fsencode(path).decode("utf-8", "backslashreplace")
    if _needs_cleaning.search(text) is None and "\n" not in text:
        return text
    return "".join(
        each.encode("unicode_escape").decode() if each == "\n" or _needs_cleaning.match(each) else each for each in text
    )


def sentence(text: str) -> str:
    """``text`` as a sentence: the first letter upper case, a full stop at the end. An empty text stays empty."""
    text = text.strip()
    if not text:
        return ""
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


def with_article(noun: str) -> str:
    """Return ``a length``, ``an angle``."""
    return f"{'an' if noun[:1].lower() in tuple('aeiou') else 'a'} {noun}"


def listed(words: Sequence[str], conjunction: str) -> str:
    """Join words to a list for a sentence: ``a, b or c`` with the conjunction ``or``."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {conjunction} {words[-1]}"


def folded(text: str) -> str:
    """``text`` for comparing names: without differences of capitals, width and spacing."""
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


def clean_line(text: str) -> str:
    """``text`` cleaned and on one line: each run of white space becomes one space, both ends are stripped."""
    return _white_space.sub(" ", clean(text)).strip()
