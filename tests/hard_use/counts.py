"""The result of one part of the hard-use run."""

from pathlib import Path
from typing import NamedTuple, Protocol


class Counts(NamedTuple):
    """How many cases were tried and how many held. ``notes`` describes the cases that did not hold."""

    name: str
    tried: int
    held: int
    notes: tuple[str, ...] = ()


class Part(Protocol):
    """A module of this package: one kind of hard use."""

    def run(self, seconds: float, seed: int, folder: Path) -> Counts:
        """Try cases for about ``seconds``, the same ones for the same ``seed``. ``folder`` is empty."""
        ...
