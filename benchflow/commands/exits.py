"""Exit codes of the commands, and the message of an internal error."""

import os
import sys
from pathlib import Path
from types import TracebackType

FINE = 0
FOUND = 1
"""The command worked and found something wrong: an error in a procedure, a damaged log."""
UNUSABLE = 2
"""The command cannot be carried out: no such command, option, file or folder."""
FAULT = 70
"""An internal error (EX_SOFTWARE of sysexits)."""
BROKEN_OFF = 130
"""Interrupted at the keyboard (128 + SIGINT, the convention of shells)."""

EPILOG = """\b
Exit codes:
  0    no problem found
  1    a problem found: an error in a procedure, a damaged log
  2    the command cannot be carried out: no such command, option, file or folder
  70   internal error
  130  interrupted at the keyboard
"""

_logs: list[Path] = []


def working_on(log: Path) -> None:
    """Remember the log that is open, so that the message of an internal error can name it."""
    _logs.append(log)


def say_where_the_log_is(kind: type[BaseException], wrong: BaseException, trace: TracebackType | None) -> None:
    """The hook for ``sys.excepthook``: what a person needs first, then the traceback without any values."""
    import traceback  # late: only an internal error needs these two

    from benchflow.commands.output import remark

    remark(f"Internal error: benchflow has stopped.{''.join(f' Log: {log}' for log in _logs)}")
    for log in _logs:
        remark(f"Every confirmed entry is in the log. To continue: benchflow run '{log}'")
    remark("Please report the lines below.")
    remark("".join(traceback.format_tb(trace)).rstrip())
    remark(f"{kind.__name__}: {wrong}"[:500])
    sys.stderr.flush()
    os._exit(FAULT)  # threads of a screen that crashed must not keep the terminal
