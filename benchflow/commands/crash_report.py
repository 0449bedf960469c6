"""The message of an internal error. It names the open log and shows no values of variables."""

import os
import sys
from pathlib import Path
from types import TracebackType

from benchflow.commands.exit_codes import INTERNAL_ERROR

_open_logs: list[Path] = []


def remember_open_log(log: Path) -> None:
    """Remember ``log``, so that the message of an internal error can name it."""
    _open_logs.append(log)


def report_crash(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
    """Print where the log is and how to continue, then the traceback, and exit. A hook for ``sys.excepthook``."""
    import traceback  # late imports: only an internal error needs them

    from benchflow.commands.console_output import print_message

    print_message(f"Internal error: benchflow has stopped.{''.join(f' Log: {log}' for log in _open_logs)}")
    for log in _open_logs:
        print_message(f"Every confirmed entry is in the log. To continue: benchflow run '{log}'")
    from benchflow.session.crash_file import keep_crash

    file = keep_crash(error.with_traceback(trace))
    print_message(f"Please report the lines below.{f' They are in {file} too.' if file is not None else ''}")
    print_message("".join(traceback.format_tb(trace)).rstrip())
    print_message(f"{kind.__name__}: {error}"[:500])
    sys.stderr.flush()
    os._exit(INTERNAL_ERROR)  # threads of a screen that crashed must not keep the terminal
