"""The screens: they show state and send intents."""

from pathlib import Path


def start(target: Path | None, *, log_folder: Path | None, by: str | None, unit: str | None) -> int:
    """Run the bench until the builder leaves; returns the exit status.

    ``target`` is a procedure's file, a log, or nothing: then the front door offers both. A procedure with one
    open session (of ``unit``, where that is said) goes on with it; with several, they are offered.

    Raises:
        BenchflowError: the target cannot be read, has mistakes, or holds no session.
    """
    import gc

    # What is made while the program comes up stays; looking through it again and again for what could be thrown
    # away costs a tenth of the time to the first paint. It is set going again when that is there.
    gc.disable()
    from benchflow.tui.launch import run  # late: brings in Textual

    return run(target, log_folder, by, unit)
