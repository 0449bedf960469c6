"""Settings for the whole run that save time: the disk is not waited for, and the garbage collector looks less often."""

import gc
import os
from collections.abc import Iterator

import pytest


@pytest.hookimpl(trylast=True)
def pytest_collection_finish() -> None:
    """Leave the modules and the tests, which stay to the end, out of every later collection of garbage."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 50)


def _no_wait(fd: int) -> None:
    os.fstat(fd)  # raises the same error for a closed file


@pytest.fixture(scope="session", autouse=True)
def _disk_is_not_waited_for() -> Iterator[None]:
    """No test cuts the power, so none needs the bytes on the disk. A child process waits as usual."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fdatasync", _no_wait)
        patch.setattr(os, "fsync", _no_wait)
        yield
