"""Where things are on this machine, which procedures come along, and which sessions there are.

Nothing here makes a folder, but for :func:`make_folder`, which says so.
"""

import os
import re
import unicodedata
from collections.abc import Iterable, Mapping
from datetime import date
from pathlib import Path
from typing import Any, Literal

import msgspec
from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.session.log import lock
from benchflow.session.log import sidecars as beside
from benchflow.session.log.disk import Disk
from benchflow.session.log.line_format import read

SUFFIX = ".jsonl"
HOME = "BENCHFLOW_HOME"
"""The one environment variable: everything lives under the folder that it names."""


class Places(Struct, frozen=True):
    """The folders and files of this machine. None of them need exist."""

    data: Path
    config: Path
    cache: Path

    @property
    def sessions(self) -> Path:
        """Where a session's log goes when nobody says otherwise."""
        return self.data / "sessions"

    @property
    def compiled(self) -> Path:
        """Where procedures are kept as they were read, so that they need not be read again."""
        return self.cache / "procedures"

    @property
    def shop(self) -> Path:
        return self.config / "shop.yaml"


def places(environ: Mapping[str, str] | None = None) -> Places:
    """The platform's own folders, or those under ``BENCHFLOW_HOME``."""
    home = (os.environ if environ is None else environ).get(HOME)
    if home:
        root = Path(home).expanduser().absolute()
        return Places(root / "data", root / "config", root / "cache")
    from platformdirs import PlatformDirs  # late: not needed where the variable is set

    own = PlatformDirs("benchflow", appauthor=False)
    return Places(own.user_data_path, own.user_config_path, own.user_cache_path)


def make_folder(folder: Path) -> Path:
    """Make ``folder`` and those above it, so that they survive a power cut too; returns it.

    Raises :class:`~benchflow.base.errors.BenchflowError` when that cannot be done.
    """
    missing = [each for each in (folder, *folder.parents) if not each.exists()]
    try:
        for each in reversed(missing):
            each.mkdir(exist_ok=True)
            Disk().sync_folder(each.parent)
        if not folder.is_dir():
            raise NotADirectoryError(0, "it is a file")
    except OSError as wrong:
        raise BenchflowError(
            f"The folder {folder} cannot be made: {(wrong.strerror or str(wrong)).lower()}. "
            f"Choose another, or set {HOME}."
        ) from wrong
    return folder


# --- the library of procedures ---------------------------------------------------------------------


def library() -> list[Path]:
    """The procedures that come along: in the package when installed, beside it in a checkout."""
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "shipped_procedures", package.parent / "procedures"):
        if folder.is_dir():
            return sorted(folder.glob("*.yaml"))
    return []


# --- names of logs ---------------------------------------------------------------------------------


def new_log_path(folder: Path, procedure: str, unit: str, day: date) -> Path:
    """A free, readable file name: ``2026-03-01_head-install_job-2417.jsonl``. Makes nothing."""
    stem = "_".join((day.isoformat(), _plain(procedure, "procedure"), _plain(unit, "unit")))
    path, number = folder / f"{stem}{SUFFIX}", 1
    while path.exists():
        number += 1
        path = folder / f"{stem}-{number}{SUFFIX}"
    return path


def _plain(text: str, otherwise: str) -> str:
    """``text`` as part of a file name: letters and digits of any script, ``.``, ``-``; at most 80 bytes."""
    name = re.sub(r"[^\w.]+|_", "-", unicodedata.normalize("NFC", text))
    short = name.encode("utf-8", "ignore")[:80].decode("utf-8", "ignore")
    return re.sub(r"-{2,}", "-", short).strip("-.") or otherwise


# --- sessions --------------------------------------------------------------------------------------

Standing = Literal["open", "closed", "held", "damaged", "empty", "moved"]
"""``held``: another program is writing it. ``empty``: made, but nothing was begun in it."""


class Session(Struct, frozen=True):
    """A log at a glance. Texts are as they stand in the log: clean them before showing.

    ``done`` counts operations finished and not taken back. ``words`` says more about ``standing`` where
    there is more to say. A session that goes on elsewhere (``moved``) names the place in ``words``.
    """

    path: Path
    standing: Standing
    words: str = ""
    procedure: str = ""  # its title, or its file's name
    sha256: str = ""  # of the procedure's text
    options: dict[str, str] = {}
    unit: str = ""
    by: str = ""
    opened_at: str = ""
    last_at: str = ""
    events: int = 0
    done: int = 0
    simulated: bool = False


class _Touched(Struct):
    """What a glance needs of any event's data."""

    operation: Any = None
    redo: Any = None


class _Glance(Struct):
    seq: int
    at: str
    kind: str
    data: _Touched


_glance = msgspec.json.Decoder(_Glance).decode


def sessions(folder: Path) -> list[Session]:
    """The sessions in ``folder``, last worked on first. A folder that is not there has none.

    The chain of hashes is checked for the first line only: ``damaged`` is said of what cannot be read at a
    glance, and :func:`benchflow.session.log.journal.verify` is for certainty.
    """
    try:
        paths = sorted(folder.glob(f"*{SUFFIX}"))
    except OSError as wrong:
        raise BenchflowError(f"{folder} cannot be looked into: {wrong.strerror}.") from wrong
    return sorted((glance(path) for path in paths if path.is_file()), key=lambda session: session.last_at, reverse=True)


def glance(path: Path) -> Session:
    """What can be said of one log without checking every hash. Never raises."""
    try:
        data = path.read_bytes()
    except OSError as wrong:
        return Session(path, "damaged", f"cannot be read: {wrong.strerror}")
    end = data.find(b"\n") + 1
    first = read(data[:end])
    if first.damage:
        return Session(path, "damaged", f"line 1 {first.damage.what}")
    if not first.lines:
        return Session(path, "empty", "nothing was begun in it")
    opened = first.lines[0]
    if opened.kind != "opened":
        return Session(path, "damaged", "its first event is not the opening of a session")
    raw = data[end:].split(b"\n")[:-1]
    events: list[_Glance] = []
    for number, line in enumerate(raw, start=2):
        try:
            events.append(_glance(line))
        except (msgspec.DecodeError, UnicodeDecodeError):
            return _described(opened.data, opened.by, opened.at, path, events, "damaged", f"line {number} is no event")
    standing, words = _standing(path, events)
    return _described(opened.data, opened.by, opened.at, path, events, standing, words)


def _standing(path: Path, events: Iterable[_Glance]) -> tuple[Standing, str]:
    if any(event.kind == "closed" for event in events):
        return "closed", ""
    if (there := beside.moved_to(path)) is not None:
        return "moved", f"goes on in {there}"
    holder = lock.is_held(path)
    return ("held", f"held by {holder.words}") if holder else ("open", "")


def _described(
    data: dict[str, Any], by: str, at: str, path: Path, events: list[_Glance], standing: Standing, words: str
) -> Session:
    options = data.get("options")
    return Session(
        path=path,
        standing=standing,
        words=words,
        procedure=_title(_text(data, "procedure")) or _text(data, "file"),
        sha256=_text(data, "procedure_sha256"),
        options={name: str(value) for name, value in options.items()} if isinstance(options, dict) else {},
        unit=_text(data, "unit"),
        by=by,
        opened_at=at,
        last_at=events[-1].at if events else at,
        events=1 + len(events),
        done=len(_done(events)),
        simulated=data.get("simulated") is True,
    )


def _text(data: dict[str, Any], name: str) -> str:
    value = data.get(name)
    return value if isinstance(value, str) else ""


def _done(events: Iterable[_Glance]) -> set[str]:
    """As the fold has it, without the procedure: finished, and neither taken back nor to be redone."""
    done: set[str] = set()
    for event in events:
        if event.kind == "finished" and isinstance(event.data.operation, str):
            done.add(event.data.operation)
        elif event.kind == "undone" and isinstance(event.data.operation, str):
            done.discard(event.data.operation)
        elif event.kind == "remedied" and isinstance(event.data.redo, list):
            done.difference_update(name for name in event.data.redo if isinstance(name, str))
    return done


def _title(procedure: str) -> str:
    """The title, without reading the whole procedure: it stands at the left margin in every file that is one."""
    found = re.search(r"^title:[ \t]+([^\s|>&].*?)[ \t]*(?:[ \t]#.*)?$", procedure, re.MULTILINE)
    if found is None:
        return ""
    quoted = re.fullmatch(r"(['\"])(.*)\1", found[1])
    return quoted[2] if quoted else found[1]
