"""Loads procedures for sessions, from a file or from the text in a log, through the compiled cache."""

from collections.abc import Callable
from pathlib import Path

from benchflow.base.errors import BenchflowError
from benchflow.procedure.compiled_cache import Loaded, load, read_text
from benchflow.procedure.model import Procedure
from benchflow.session.machine_folders import places

Read = Callable[[str], Procedure]


def load_procedure(path: Path) -> Loaded:
    """The procedure in a file.

    Raises:
        BenchflowError: the file cannot be opened.
    """
    return load(path, places().compiled)


def reader() -> Read:
    """As :func:`reader_keeping`, with the compiled forms in this machine's own folder."""
    return reader_keeping(places().compiled)


def reader_keeping(compiled: Path | None) -> Read:
    """Makes a procedure of the text in a log. ``compiled`` is the folder for compiled forms; ``None`` keeps none.

    What it gives back raises :class:`~benchflow.base.errors.BenchflowError` for a text with errors: the log of a
    version that read procedures differently.
    """

    def read(text: str) -> Procedure:
        loaded = read_text(text, "the procedure in the log", compiled)
        if loaded.procedure is None:
            problem = loaded.problems[0] if loaded.problems else "it is empty"
            raise BenchflowError(f"The procedure in this log cannot be read by this version of benchflow: {problem}")
        return loaded.procedure

    return read
