"""Printing: results go to standard output, messages to standard error. Control characters are never printed."""

import re
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import msgspec

from benchflow.base.plaintext import clean, unsafe_characters


def print_line(text: str = "") -> None:
    """Print one line of the result to standard output."""
    sys.stdout.write(clean(text) + "\n")


def print_lines(lines: Iterable[str]) -> None:
    """Print lines of the result to standard output."""
    for line in lines:
        print_line(line)


def print_message(text: str) -> None:
    """Print one message for the person at the keyboard to standard error."""
    sys.stdout.flush()
    sys.stderr.write(clean(text) + "\n")


def print_warning(text: str) -> None:
    """Print one message to standard error, after the name of the program."""
    print_message(f"benchflow: {text}")


def print_json(value: Any) -> None:
    """Print one JSON value on one line to standard output, always in UTF-8."""
    text = msgspec.json.encode(value, enc_hook=str).decode()  # enc_hook: a path is written as a string
    sys.stdout.flush()
    sys.stdout.buffer.write(_escape_unsafe(text).encode() + b"\n")
    sys.stdout.buffer.flush()


def _escape_unsafe(text: str) -> str:
    """Return the JSON text with all characters escaped that could control a terminal."""
    for character in unsafe_characters(text):
        units = character.encode("utf-16-be").hex()
        text = text.replace(character, "".join(f"\\u{unit}" for unit in re.findall("....", units)))
    return text


def display_path(path: Path) -> str:
    """``path`` relative to the current folder if it is below it, otherwise unchanged."""
    try:
        return str(path.absolute().relative_to(Path.cwd()))
    except ValueError:
        return str(path)
