"""The clocks of this machine: the wall clock, and a boot clock that nobody can set.

The boot clock counts also while the machine sleeps: ``CLOCK_BOOTTIME`` on Linux, ``CLOCK_MONOTONIC_RAW`` on macOS.
Where there is none, the wall clock has to do.
"""

import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from benchflow.session.log.timestamps import format_timestamp
from benchflow.session.state.clock import BOOT_LENGTH, Now

_LINUX_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


def boot_seconds() -> float | None:
    """Seconds of the boot clock; ``None`` where there is none."""
    for name in ("CLOCK_BOOTTIME", "CLOCK_MONOTONIC_RAW") if sys.platform != "win32" else ():
        if hasattr(time, name):
            return time.clock_gettime(getattr(time, name))
    return None  # pragma: no cover  # Windows


def boot_id() -> str:
    """An id that changes with every start of the machine; "" where there is none."""
    try:
        return _LINUX_BOOT_ID.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):  # pragma: no cover  # not Linux
        return _macos_boot_id() if sys.platform == "darwin" else ""


def _macos_boot_id() -> str:  # pragma: no cover
    import ctypes

    size = ctypes.c_size_t(64)
    text = ctypes.create_string_buffer(size.value)
    failed = ctypes.CDLL(None).sysctlbyname(b"kern.bootsessionuuid", text, ctypes.byref(size), None, 0)
    return "" if failed else text.value.decode("ascii", "replace").lower()


class Clock:
    """The clocks that a session uses. Tests pass their own functions."""

    def __init__(
        self,
        wall: Callable[[], datetime] = lambda: datetime.now(UTC),
        boot: Callable[[], float | None] = boot_seconds,
        boot_id: Callable[[], str] = boot_id,
    ) -> None:
        self._wall, self._boot, self._boot_id = wall, boot, boot_id

    @property
    def boot_id(self) -> str:
        """The whole boot id; "" without a boot clock."""
        return "" if self._boot() is None else self._boot_id()

    def now(self) -> Now:
        """The present time."""
        at, seconds = format_timestamp(self._wall()), self._boot()
        boot = self._boot_id() if seconds is not None else ""
        return Now(at, boot[:BOOT_LENGTH], round(seconds * 1000)) if seconds is not None and boot else Now(at)
