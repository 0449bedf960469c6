"""Printing: results go to standard output, messages to standard error. Control characters are never printed."""

import re
import sys
import textwrap
from collections.abc import Iterable
from pathlib import Path
from shutil import get_terminal_size
from typing import Any

import msgspec

from benchflow.base.plaintext import clean, shown_path, unsafe_characters

_UNDECODED = re.compile("[\udc80-\udcff]")  # bytes of a file name that are not UTF-8, as Python reads them


def _shown(text: str) -> str:
    """``text`` without control characters. Bytes of file names that are not UTF-8 are shown as ``\\xff``."""
    return clean(_UNDECODED.sub(lambda found: f"\\x{ord(found[0]) - 0xDC00:02x}", text))


def print_line(text: str = "") -> None:
    """Print one line of the result to standard output."""
    sys.stdout.write(_shown(text) + "\n")


def print_lines(lines: Iterable[str]) -> None:
    """Print lines of the result to standard output."""
    for line in lines:
        print_line(line)


def print_wrapped(lines: Iterable[str]) -> None:
    """Print lines of text; on a terminal wrapped between words, with an indent from the second line on."""
    if not sys.stdout.isatty():
        print_lines(lines)
        return
    columns = max(get_terminal_size().columns, 40)
    for line in lines:
        indent = re.match(" *", line)
        more = (len(indent[0]) if indent else 0) + 4
        wrapped = textwrap.wrap(
            line, columns, subsequent_indent=" " * more, break_long_words=False, break_on_hyphens=False
        )
        print_lines(wrapped or [""])


def print_message(text: str) -> None:
    """Print one message for the person at the keyboard to standard error."""
    sys.stdout.flush()
    sys.stderr.write(_shown(text) + "\n")


def print_warning(text: str) -> None:
    """Print one message to standard error, after the name of the program."""
    print_message(f"benchflow: {text}")


def print_json(value: Any) -> None:
    """Print one JSON value on one line to standard output, always in UTF-8."""
    text = msgspec.json.encode(value, enc_hook=_as_text).decode()
    sys.stdout.flush()
    sys.stdout.buffer.write(_escape_unsafe(text).encode() + b"\n")
    sys.stdout.buffer.flush()


def _as_text(value: Any) -> str:
    """A value that JSON does not have, as text: a path as people read it."""
    return shown_path(value) if isinstance(value, Path) else str(value)


def _escape_unsafe(text: str) -> str:
    """Return the JSON text with all characters escaped that could control a terminal."""
    for character in unsafe_characters(text):
        units = character.encode("utf-16-be").hex()
        text = text.replace(character, "".join(f"\\u{unit}" for unit in re.findall("....", units)))
    return text


def display_path(path: Path) -> str:
    """``path`` relative to the current folder if it is below it, on one line and without control characters."""
    try:
        return shown_path(path.absolute().relative_to(Path.cwd()))
    except (ValueError, OSError):  # OSError: the current folder was removed
        return shown_path(path)
