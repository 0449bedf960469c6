"""What the commands print: data to standard output, prose to standard error, nothing that steers a terminal."""

import re
import sys
from pathlib import Path
from typing import Any

import msgspec

from benchflow.base.plaintext import clean, unsafe_characters


def say(text: str = "") -> None:
    """A line of what was asked for."""
    sys.stdout.write(clean(text) + "\n")


def remark(text: str) -> None:
    """A line about it, for the person at the keyboard."""
    sys.stdout.flush()
    sys.stderr.write(clean(text) + "\n")


def emit(value: Any) -> None:
    """One JSON object on a line of its own, in UTF-8 whatever the terminal speaks."""
    text = msgspec.json.encode(value, enc_hook=str).decode()  # a path is its text
    sys.stdout.flush()
    sys.stdout.buffer.write(_harmless(text).encode() + b"\n")
    sys.stdout.buffer.flush()


def _harmless(text: str) -> str:
    """The same JSON with every character escaped that could steer a terminal it is looked at in."""
    for character in unsafe_characters(text):
        units = character.encode("utf-16-be").hex()
        text = text.replace(character, "".join(f"\\u{unit}" for unit in re.findall("....", units)))
    return text


def shown(path: Path) -> str:
    """A path as a person would write it from here."""
    try:
        return str(path.absolute().relative_to(Path.cwd()))
    except ValueError:
        return str(path)
