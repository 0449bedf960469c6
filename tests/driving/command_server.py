"""Runs the program in processes that need no start of Python: each is forked from one that has all modules loaded.

A run is a process of its own, with its own folder, environment, standard streams and exit code, as from a shell. It
takes a tenth of the time of a start. What it cannot show is the start itself: use a new Python for a variable that
Python reads when it starts, for the modules that a command imports, and for a process that is killed or measured.
"""

import atexit
import contextlib
import ctypes
import fcntl
import functools
import gc
import io
import json
import os
import select
import socket
import subprocess
import sys
import termios
import time
from collections.abc import Mapping, Sequence
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryFile
from typing import Any

ROOT = Path(__file__).parents[2]
_READ_AT_START = ("PYTHON", "LC_", "LANG", "LD_", "TEXTUAL")
_SAME_AT_START = {"PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "utf-8"}
"""Values that do not change what Python does when it starts in a test."""
_DAC_OVERRIDE, _DAC_READ_SEARCH = 1, 2  # linux/capability.h


def run_command(
    folder: Path,
    *arguments: object,
    env: Mapping[str, str] | None = None,
    typed: bytes = b"",
    seconds: float = 60,
    obey_modes: bool = False,
) -> tuple[int, bytes, bytes]:
    """Run ``benchflow`` with ``arguments`` in ``folder`` to its end; ``typed`` is its standard input.

    ``obey_modes``: not even the superuser can read a file of mode 000. Returns the exit code (negative for a signal,
    as in ``subprocess``), standard output and standard error.

    Raises:
        subprocess.TimeoutExpired: the command did not end in ``seconds``, and was killed.
    """
    environ = dict(os.environ if env is None else env)
    assert not needs_a_start(environ), "start a new Python for this"
    with TemporaryFile() as given, TemporaryFile() as output, TemporaryFile() as errors:
        given.write(typed)
        given.seek(0)
        order = {"arguments": [*map(str, arguments)], "folder": str(folder), "env": environ, "obey_modes": obey_modes}
        code = _server().run(order, (given.fileno(), output.fileno(), errors.fileno()), seconds)
        output.seek(0)
        errors.seek(0)
        return code, output.read(), errors.read()


class InTerminal:
    """``benchflow`` with ``arguments`` in the terminal ``slave``: the three standard streams and the keys."""

    def __init__(self, slave: int, arguments: Sequence[str], env: Mapping[str, str]) -> None:
        order = {"arguments": [*arguments], "folder": os.getcwd(), "env": dict(env), "terminal": True}
        self._status = open(_server().start(order, (slave, slave, slave)), "rb")  # noqa: SIM115
        self.pid = int(self._status.readline())

    def poll(self, seconds: float = 0.0) -> int | None:
        """The exit code as in ``subprocess``, or ``None`` if the program has not ended within ``seconds``."""
        return int(self._status.readline()) if _readable_within(self._status.fileno(), seconds) else None

    def close(self) -> None:
        self._status.close()


def run_as_text(
    folder: Path, *arguments: object, env: Mapping[str, str] | None = None, typed: str = ""
) -> "subprocess.CompletedProcess[str]":
    """Like :func:`run_command`, with text in UTF-8."""
    code, output, errors = run_command(folder, *arguments, env=env, typed=typed.encode())
    return subprocess.CompletedProcess([*map(str, arguments)], code, output.decode(), errors.decode())


def needs_a_start(env: Mapping[str, str]) -> bool:
    """True if ``env`` has a variable that Python reads when it starts, with a value of its own."""
    changed = [name for name in {*env, *os.environ} if env.get(name) != os.environ.get(name)]
    return any(
        name.startswith(_READ_AT_START) and env.get(name) not in (None, _SAME_AT_START.get(name)) for name in changed
    )


class _Server:
    """The process with all modules loaded."""

    def __init__(self) -> None:
        self._socket, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_STREAM)
        with theirs:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "tests.driving.command_server", str(theirs.fileno())],
                cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, pass_fds=[theirs.fileno()],
                stdin=subprocess.DEVNULL,
            )  # fmt: skip

    def start(self, order: dict[str, Any], streams: tuple[int, int, int]) -> int:
        """Start a command. Returns a pipe that gives its process number and then its exit code, each on a line."""
        reader, writer = os.pipe()
        try:
            with open(writer, "wb", closefd=False), TemporaryFile() as file:
                file.write(json.dumps(order, ensure_ascii=True).encode())
                file.seek(0)
                socket.send_fds(self._socket, [b"."], [*streams, writer, file.fileno()])
        finally:
            os.close(writer)
        return reader

    def run(self, order: dict[str, Any], streams: tuple[int, int, int], seconds: float) -> int:
        with open(self.start(order, streams), "rb") as status:
            pid = int(status.readline())
            ready = _readable_within(status.fileno(), seconds)
            if not ready:
                with contextlib.suppress(ProcessLookupError):  # it may end at this moment
                    os.kill(pid, 9)
            code = int(status.readline())
        if not ready:
            raise subprocess.TimeoutExpired(order["arguments"], seconds)
        return code

    def close(self) -> None:
        self._socket.close()
        self._process.wait(30)


def _readable_within(fd: int, seconds: float) -> bool:
    return bool(select.select([fd], [], [], seconds)[0])


@functools.cache
def _server() -> _Server:
    """The server of this process, started at the first command."""
    server = _Server()
    atexit.register(server.close)
    return server


# --- in the server ----------------------------------------------------------------------------------


def _serve(orders: socket.socket) -> None:
    _load_everything()
    gc.collect()
    gc.freeze()
    while True:
        message, fds, _, _ = socket.recv_fds(orders, 1, 5)
        if not message:
            return
        if os.fork() == 0:
            orders.close()
            _watch(*fds)
        for fd in fds:
            os.close(fd)
        with contextlib.suppress(ChildProcessError):
            while os.waitpid(-1, os.WNOHANG)[0]:
                pass


def _load_everything() -> None:
    from benchflow.cli import COMMANDS, benchflow

    context = benchflow.make_context("benchflow", ["where"])
    for name in COMMANDS:
        benchflow.get_command(context, name)
    for name in (
        "benchflow.procedure.blocks.block_expansion", "benchflow.procedure.reader", "benchflow.ordering.proof",
        "benchflow.procedure.formula.unit_check", "benchflow.review.archive.database", "benchflow.session.controller",
        "ruamel.yaml", "sqlalchemy.dialects.sqlite", "jinja2", "rich.console", "benchflow.tui.launch",
        "benchflow.tui.screen_map", "textual.drivers.linux_driver",
    ):  # fmt: skip
        import_module(name)


def _watch(given: int, output: int, errors: int, status: int, order: int) -> None:
    """Fork the process of the command, and write its number and its exit code to ``status``. Does not return."""
    try:
        pid = os.fork()
        if pid == 0:
            os.close(status)
            with open(order, "rb") as file:
                wanted = json.load(file)
            for number, fd in enumerate((given, output, errors)):
                os.dup2(fd, number)
                os.close(fd)
            _become(wanted)
        os.write(status, b"%d\n" % pid)
        code = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
        os.write(status, b"%d\n" % code)
    finally:
        os._exit(0)


def _become(wanted: dict[str, Any]) -> None:
    """Run the command in this process, as ``python -m benchflow`` does. Does not return."""
    code = 1
    try:
        os.chdir(wanted["folder"])
        os.environ.clear()
        os.environ.update(wanted["env"])
        time.tzset()
        sys.argv = ["benchflow", *wanted["arguments"]]
        _open_streams()
        if wanted.get("terminal"):
            os.setsid()
            fcntl.ioctl(0, termios.TIOCSCTTY, 0)
        if wanted.get("obey_modes"):
            _obey_modes()
        code = _exit_code()
        atexit._run_exitfuncs()
        sys.stdout.flush()
        sys.stderr.flush()
    finally:
        os._exit(code)


def _open_streams() -> None:
    """Open the standard streams as Python does when it starts."""
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        before = getattr(sys, name)
        binary = open(number, "rb" if number == 0 else "wb")  # noqa: SIM115
        stream = io.TextIOWrapper(binary, "utf-8", before.errors, line_buffering=number == 2)
        setattr(sys, name, stream)
        setattr(sys, f"__{name}__", stream)


def _exit_code() -> int:
    from benchflow.cli import main

    try:
        main(sys.argv[1:])
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else 0 if end.code is None else 1
    except BaseException:  # noqa: BLE001
        sys.excepthook(*sys.exc_info())
        return 1
    return 0


def _obey_modes() -> None:
    """Give up the right of the superuser to read a file of mode 000, as capset(2) describes it."""
    if os.geteuid() != 0:
        return
    library = ctypes.CDLL(None, use_errno=True)
    header = (ctypes.c_uint32 * 2)(0x20080522, 0)  # _LINUX_CAPABILITY_VERSION_3, this process
    data = (ctypes.c_uint32 * 6)()
    if library.capget(header, data) == 0:
        for at in (0, 1, 2):  # effective, permitted and inheritable of the first 32 capabilities
            data[at] &= ~(1 << _DAC_OVERRIDE | 1 << _DAC_READ_SEARCH)
        library.capset(header, data)


if __name__ == "__main__":
    _serve(socket.socket(fileno=int(sys.argv[1])))
