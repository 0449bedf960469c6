"""Loads a procedure from a file or from the text in a log, with a cache of compiled procedures."""

from collections.abc import Callable
from pathlib import Path

from benchflow.base.errors import BenchflowError
from benchflow.procedure.compiled_cache import Loaded, load, read_text
from benchflow.procedure.model import Procedure
from benchflow.session.machine_folders import block_folders, machine_folders

ProcedureReader = Callable[[str], Procedure]
"""Turns the text of a procedure into a procedure, or raises ``BenchflowError``."""


def load_procedure(path: Path) -> Loaded:
    """Load the procedure in a file.

    Raises:
        BenchflowError: the file cannot be opened.
    """
    return load(path, machine_folders().compiled, block_folders())


def load_procedure_text(text: str) -> Loaded:
    """Load the procedure whose text is in a log."""
    return read_text(text, "the procedure in the log", machine_folders().compiled)


def procedure_reader() -> ProcedureReader:
    """A reader that uses the cache folder of this machine."""
    return procedure_reader_with_cache(machine_folders().compiled)


def procedure_reader_with_cache(compiled: Path | None) -> ProcedureReader:
    """A reader for the procedure text in a log. ``compiled`` is the cache folder; ``None``: no cache.

    The reader raises :class:`~benchflow.base.errors.BenchflowError` for a text with errors. Such a text comes from a
    version that read procedures differently.
    """

    def read(text: str) -> Procedure:
        loaded = read_text(text, "the procedure in the log", compiled)
        if loaded.procedure is None:
            problem = loaded.problems[0] if loaded.problems else "it is empty"
            raise BenchflowError(f"This version of benchflow cannot read the procedure in this log: {problem}")
        return loaded.procedure

    return read
