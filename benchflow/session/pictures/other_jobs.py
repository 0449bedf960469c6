"""Which other job or teardown has a picture already, so that a bench does not offer it as new.

A picture can belong to two jobs, but a phone sends it to one folder that every open job looks into.
"""

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

from msgspec import Struct

from benchflow.base.plaintext import clean_line
from benchflow.base.regular_file import read_regular_file
from benchflow.session.log.line_format import Line, read
from benchflow.session.log.log_folder import TEARDOWN_OPENED
from benchflow.session.pictures.picture_check import pictures_of
from benchflow.session.pictures.picture_file import PictureFacts
from benchflow.session.pictures.stored_pictures import stored_path

_ENDING = ".pictures"


class _NamedIn(Struct, frozen=True):
    """The pictures of a log that are in force, by SHA-256, when it had this size and time."""

    size: int
    changed: int
    job: str
    digests: frozenset[str]


class OtherJobs:
    """The jobs whose logs are in ``folders``, without the one with the log ``own``."""

    def __init__(self, own: Path, folders: Sequence[Path]) -> None:
        self._own = own.absolute()
        self._folders = tuple(dict.fromkeys(folder.absolute() for folder in (own.parent, *folders)))
        self._read: dict[Path, _NamedIn] = {}

    def job_with(self, facts: PictureFacts) -> str:
        """The job or teardown that has the picture, such as ``job 2417``; "" if none has it.

        A job from which it was withdrawn does not count. A log is read only if its folder has the file.
        """
        for log in self._logs():
            if stored_path(log, facts.sha256, facts.type).exists():
                found = self._named_in(log)
                if found is not None and facts.sha256 in found.digests:
                    return found.job
        return ""

    def _logs(self) -> Iterator[Path]:
        """The logs that have a folder of pictures."""
        for folder in self._folders:
            try:
                names = sorted(os.listdir(folder))
            except OSError:
                continue
            for name in names:
                log = folder / name.removesuffix(_ENDING)
                if name.endswith(_ENDING) and log != self._own:
                    yield log

    def _named_in(self, log: Path) -> _NamedIn | None:
        try:
            found = log.stat()
            known = self._read.get(log)
            if known is not None and (known.size, known.changed) == (found.st_size, found.st_mtime_ns):
                return known
            lines = read(read_regular_file(log)).lines
        except OSError:
            return None
        withdrawn = {line.data.get("event") for line in lines if line.kind == "picture-withdrawn"}
        digests = frozenset(facts.sha256 for seq, facts in pictures_of(lines) if seq not in withdrawn)
        self._read[log] = _NamedIn(found.st_size, found.st_mtime_ns, _job_text(lines), digests)
        return self._read[log]


def _job_text(lines: Sequence[Line]) -> str:
    unit = clean_line(str(lines[0].data.get("unit") or "")) if lines else ""
    if lines and lines[0].kind == TEARDOWN_OPENED:
        return f"the teardown of {unit}" if unit else "a teardown"
    return (unit if unit.casefold().startswith("job ") else f"job {unit}") if unit else "another job"
