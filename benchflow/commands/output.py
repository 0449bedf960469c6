"""What the commands print: data to standard output, prose to standard error, nothing that steers a terminal."""

import re
import sys
from pathlib import Path
from typing import Any

import msgspec

from benchflow.base.plaintext import clean, unsafe_characters


def say(text: str = "") -> None:
    """Print one line of the result to standard output."""
    sys.stdout.write(clean(text) + "\n")


def remark(text: str) -> None:
    """Print one line for the person at the keyboard to standard error."""
    sys.stdout.flush()
    sys.stderr.write(clean(text) + "\n")


def emit(value: Any) -> None:
    """Print one JSON object on one line, always in UTF-8."""
    text = msgspec.json.encode(value, enc_hook=str).decode()  # a path is its text
    sys.stdout.flush()
    sys.stdout.buffer.write(_harmless(text).encode() + b"\n")
    sys.stdout.buffer.flush()


def _harmless(text: str) -> str:
    """The same JSON with every character escaped that could control a terminal."""
    for character in unsafe_characters(text):
        units = character.encode("utf-16-be").hex()
        text = text.replace(character, "".join(f"\\u{unit}" for unit in re.findall("....", units)))
    return text


def shown(path: Path) -> str:
    """A path relative to the current folder where it is below it."""
    try:
        return str(path.absolute().relative_to(Path.cwd()))
    except ValueError:
        return str(path)
