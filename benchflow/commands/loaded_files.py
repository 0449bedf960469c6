"""Loads the log and the shop file for a command, and checks if there is a terminal for a screen."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from benchflow.base.errors import BenchflowError
from benchflow.commands.file_lookup import find_log

if TYPE_CHECKING:
    from benchflow.review.log.loaded_log import LoadedLog
    from benchflow.session.shop.register import Shop


def load_named_log(name: str, *, audited: bool = False) -> "LoadedLog":
    """The log that ``name`` names, loaded for a review; ``audited`` also decides its intents again.

    Raises:
        BenchflowError: no log or several logs match, or the log cannot be read.
    """
    from benchflow.review.log.loaded_log import load_log
    from benchflow.session.procedure_loading import procedure_reader

    loaded = load_log(find_log(name), procedure_reader())
    if not audited:
        return loaded
    from benchflow.review.audit.audited_log import with_audit

    return with_audit(loaded)


def with_later_copy(loaded: "LoadedLog") -> "LoadedLog":
    """The log, with a warning if this machine remembers a later copy of it, or another one from some line on."""
    from msgspec.structs import replace

    from benchflow.session.head_memory import HeadMemory
    from benchflow.session.log.log_heads import comparison_text, head_of_log
    from benchflow.session.machine_folders import machine_folders

    path = Path(loaded.path).absolute()
    found = None if loaded.damage else HeadMemory(machine_folders().heads).compare(loaded.lines, path)
    if found is None or found[1].status in ("same", "grown"):
        return loaded
    text = comparison_text(head_of_log(loaded.lines, path=str(path)), found[0], found[1], "this machine")
    return replace(loaded, warnings=(f"{path.name}: {text}", *loaded.warnings))


def load_register(path: Path | None) -> "Shop | None":
    """The register in the file ``path``. Without ``path``: this machine's register, or ``None`` if it has none.

    Raises:
        BenchflowError: ``path`` does not exist, or the register has errors.
    """
    from benchflow.session.machine_folders import machine_folders

    file = path or machine_folders().shop
    if path is None and not file.exists():
        return None
    from benchflow.session.shop.live_register import Register

    shop = Register(file, machine_folders().compiled).shop()
    if shop is None:
        raise BenchflowError(f"There is no shop file {file}. Name an existing one.")
    return shop


def is_terminal() -> bool:
    """True if there is a terminal: a screen to draw on and a keyboard to read from."""
    return sys.stdin.isatty() and sys.stdout.isatty()
