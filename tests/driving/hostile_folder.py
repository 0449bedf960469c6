"""A folder with everything that can stand in the way of a list of logs, and a way to run commands on it."""

import os
import socket
from pathlib import Path

from tests.driving.command_server import ROOT, run_command

NOT_LOGS = ("dir", "fifo", "socket", "dangling", "circular", "device")
"""The stems of the entries in the folder that are no files."""

CONTENTS: dict[str, bytes] = {
    "deep": b"[" * 100_000 + b"\n",
    "foreign": b'{"hello": "world"}\n',
    "binary": bytes(range(256)) * 20,
    "zeros": b"\0" * 100,
    "one-long-line": b"x" * 2_000_000,
}
"""The stems and contents of files that are no logs."""


def put_hostile_files(folder: Path, log: bytes) -> None:
    """Make the entries in ``folder``. ``log`` is the content of a whole log, which some of them begin with."""
    root = os.fsencode(folder)
    for name, content in {
        **{f"{stem}.jsonl".encode(): content for stem, content in CONTENTS.items()},
        b"good.jsonl": log,
        b"good-then-deep.jsonl": log + b'{"a":' * 100_000 + b"\n",
        b"good-then-nested.jsonl": log + b'{"a":' * 700 + b"1" + b"}" * 700 + b"\n",
        b"not-utf-8-\xff\xfe.jsonl": log,
        b"two\nlines.jsonl": log,
        b"escape-\x1b[31m.jsonl": log,
        b"n" * 249 + b".jsonl": log,
        b"closed-to-all.jsonl": log,
    }.items():
        with open(root + b"/" + name, "wb") as file:
            file.write(content)
    (folder / "closed-to-all.jsonl").chmod(0)
    (folder / "dir.jsonl").mkdir()
    os.mkfifo(folder / "fifo.jsonl")
    here = os.getcwd()
    with socket.socket(socket.AF_UNIX) as listener:
        os.chdir(folder)  # the path of a socket is short
        listener.bind("socket.jsonl")
        os.chdir(here)
    (folder / "dangling.jsonl").symlink_to("nowhere")
    (folder / "circular.jsonl").symlink_to("circular.jsonl")
    (folder / "device.jsonl").symlink_to("/dev/zero")
    (folder / "back").symlink_to(".")
    (folder / "closed-folder").mkdir(mode=0)


def run_by_modes(folder: Path, *arguments: object, seconds: float = 60) -> tuple[int, str, str]:
    """Run a command in ``folder``. Not even the superuser can read a file of mode 000 there.

    Returns the exit code, standard output and standard error.
    """
    environ = {**os.environ, "BENCHFLOW_HOME": str(folder / "home"), "PYTHONPATH": str(ROOT), "TZ": "UTC"}
    code, output, errors = run_command(folder, *arguments, env=environ, seconds=seconds, obey_modes=True)
    return code, output.decode(), errors.decode()
