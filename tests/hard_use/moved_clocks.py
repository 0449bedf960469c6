"""A machine whose wall clock can be set, that sleeps and that is started again: the shim moves the clocks of processes.

The real clocks run on underneath, so that a process sees them move as usual between two changes.
"""

import os
import shutil
import subprocess
from pathlib import Path

SOURCE = Path(__file__).with_name("clock_shim.c")


class MovedClocks:
    """The clocks of the processes that run with :meth:`environment`. Without a compiler, ``works`` is false."""

    def __init__(self, folder: Path) -> None:
        self.library, self.control = folder / "clock_shim.so", folder / "clocks"
        self.wall, self.boot, self.boots = 0.0, 0.0, 1
        self._write()
        compiler = shutil.which("cc")
        command = [compiler or "", "-shared", "-fPIC", "-O1", "-o", str(self.library), str(SOURCE), "-ldl"]
        self.works = compiler is not None and os.name == "posix" and not subprocess.run(command, check=False).returncode

    def environment(self) -> dict[str, str]:
        """The variables that move the clocks of a process."""
        return {"LD_PRELOAD": str(self.library), "CLOCK_SHIM": str(self.control)}

    def pass_time(self, minutes: float) -> None:
        """Let time pass, with the machine awake or asleep: both clocks run."""
        self.wall += 60 * minutes
        self.boot += 60 * minutes
        self._write()

    def set_wall_clock(self, minutes: float) -> None:
        """Set the wall clock alone."""
        self.wall += 60 * minutes
        self._write()

    def reboot(self, off: float, clock_set: float = 0.0) -> None:
        """Start the machine again after ``off`` minutes; the wall clock was set while it was off."""
        self.boots += 1
        self.wall += 60 * (off + clock_set)
        self.boot = 1000.0 * self.boots  # the boot clock of another boot has nothing to do with that of the last one
        self._write()

    def _write(self) -> None:
        whole = self.control.with_suffix(".new")
        whole.write_text(f"{self.wall} {self.boot} {self.boots:08x}-0000-4000-8000-000000000000\n", encoding="ascii")
        whole.replace(self.control)
