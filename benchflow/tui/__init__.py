"""The terminal screens. They show the view of a job and send intents to its session controller."""

from pathlib import Path


def start(
    target: Path | None,
    *,
    log_folder: Path | None,
    by: str | None,
    unit: str | None,
    other_register: str = "",
    continue_from: Path | None = None,
    watch: bool = False,
) -> int:
    """Run the program until the user leaves it. Return the exit status.

    ``target`` is a procedure file or a log. Without a target, the list of jobs and procedures is shown. With a
    procedure, the open job of ``unit`` continues; without ``unit``, the open jobs of the procedure are listed.
    ``other_register`` is the reason for continuing a job with another register than before. ``continue_from`` is
    a log that a new job continues; then ``target`` is its procedure, or ``None``. With ``watch``, ``target`` is a log
    that is shown and not written.

    Raises:
        BenchflowError: the target cannot be read, has errors, or contains no job.
    """
    import gc

    # Objects made during start-up live until the end, so collecting them is useless. Without garbage collection the
    # first paint is 10 % faster. The app turns it on again after the first paint.
    gc.disable()
    from benchflow.tui.launch import run  # imported late, because it imports Textual

    return run(target, log_folder, by, unit, other_register, continue_from, watch)


def start_teardown(
    log: Path | None, *, folder: Path | None, by: str, unit: str, what: str, continue_from: Path | None = None
) -> int:
    """Run the screens of a teardown until the user leaves them. Return the exit status.

    Without a ``log``, the open teardowns are listed. With ``unit`` and ``what``, the form for a new one is shown. With
    ``continue_from``, a new log has the whole lines of that damaged one.

    Raises:
        BenchflowError: the log cannot be opened.
    """
    from benchflow.tui.teardown.teardown_app import run_teardown  # imported late, because it imports Textual

    return run_teardown(log, folder, by, unit, what, continue_from=continue_from)
