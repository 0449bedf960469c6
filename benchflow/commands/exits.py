"""How a command ends, and what is said when it does not end well."""

import os
import sys
from pathlib import Path
from types import TracebackType

FINE = 0
FOUND = 1
"""The command did what was asked, and found something wrong: an error in a procedure, a damaged log."""
UNUSABLE = 2
"""The call cannot be carried out: no such command, option, file or folder."""
FAULT = 70
"""A fault in the program itself (EX_SOFTWARE of sysexits)."""
BROKEN_OFF = 130
"""Broken off at the keyboard (128 + SIGINT, as shells count)."""

EPILOG = """\b
How it ends:
  0    all is well
  1    looked, and found something wrong: an error in a procedure, a damaged log
  2    the call cannot be carried out: no such command, option, file or folder
  70   a fault in benchflow itself
  130  broken off at the keyboard
"""

_logs: list[Path] = []


def working_on(log: Path) -> None:
    """Remember the log in hand, so that even a crash can say where it is."""
    _logs.append(log)


def say_where_the_log_is(kind: type[BaseException], wrong: BaseException, trace: TracebackType | None) -> None:
    """For ``sys.excepthook``: what a person needs first, then the way through the code, without any values."""
    import traceback  # late, as what is below: a command that ends well needs neither

    from benchflow.commands.output import remark

    remark("benchflow has come upon a fault of its own and stops.")
    for log in _logs:
        remark(f"Everything that was confirmed is in {log} and can be resumed: benchflow run '{log}'")
    remark("Please report the lines below.")
    remark("".join(traceback.format_tb(trace)).rstrip())
    remark(f"{kind.__name__}: {wrong}"[:500])
    sys.stderr.flush()
    os._exit(FAULT)  # threads of a screen that crashed must not keep the terminal
