"""The screens: they show views and send intents."""

from pathlib import Path


def start(target: Path | None, *, log_folder: Path | None, by: str | None, unit: str | None) -> int:
    """Run the bench until it is left; returns the exit status.

    ``target`` is a procedure file or a log; without one the list of jobs and procedures is shown. A procedure with one
    open job (of ``unit``, if given) continues that job; with several open jobs, they are listed.

    Raises:
        BenchflowError: the target cannot be read, has errors, or holds no job.
    """
    import gc

    # Objects made during start-up stay alive. Without garbage collection the first paint comes 10 % sooner; the app
    # turns it on again after the first paint.
    gc.disable()
    from benchflow.tui.launch import run  # late: brings in Textual

    return run(target, log_folder, by, unit)
