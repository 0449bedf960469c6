"""A PostgreSQL server for the tests of the shared archive, started from Debian's binaries."""

import os
import pwd
import shutil
import socket
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import mkdtemp


def binaries() -> Path | None:
    """The folder of the newest server below ``/usr/lib/postgresql``; ``None`` if there is none."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return found[-1].parent if found else None


def _unprivileged_user() -> str | None:
    """A user to run the server, because PostgreSQL refuses to run as root; ``None`` if this process is not root."""
    if os.geteuid() != 0:
        return None
    known = {entry.pw_name for entry in pwd.getpwall()}
    return next(name for name in ("postgres", "nobody") if name in known)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def running_server(programs: Path) -> Iterator[str]:
    """The URL of a database on a server that runs until the end of the context."""
    user = _unprivileged_user()
    folder = Path(mkdtemp(prefix="benchflow-pg-"))
    data = folder / "data"
    if user is not None:
        shutil.chown(folder, user)

    def run(program: str, *arguments: str) -> None:
        command = [str(programs / program), *arguments]
        if user is not None:
            command = ["runuser", "-u", user, "--", *command]
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
        assert done.returncode == 0, f"{program} failed: {done.stdout}{done.stderr}"

    port = _free_port()
    run("initdb", "-D", str(data), "-U", "bench", "--auth=trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync")
    options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={folder} -c fsync=off"
    # Its output goes to a file: a pipe would stay open for as long as the server lives.
    run("pg_ctl", "-D", str(data), "-w", "-t", "60", "-l", str(folder / "log"), "-o", options, "start")
    try:
        yield f"postgresql://bench@127.0.0.1:{port}/postgres"
    finally:
        run("pg_ctl", "-D", str(data), "-m", "immediate", "stop")
        shutil.rmtree(folder, ignore_errors=True)
