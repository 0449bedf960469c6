"""What the shop's other builds add to a review: earlier come-backs, and the values of other builds."""

from collections.abc import Sequence
from typing import Protocol

from msgspec import Struct


class ShopCase(Struct, frozen=True):
    """What an earlier come-back turned out to be. ``operation`` is "" if no step caused it."""

    session: str
    unit: str
    complaint: str
    finding: str
    outcome: str
    operation: str
    date: str
    simulated: bool


class OtherReading(Struct, frozen=True):
    """A reading or calculated value in force of another build. ``unit`` is that of the value."""

    session: str
    operation: str
    name: str
    slot: str
    value: str
    unit: str


class ShopHistory(Protocol):
    """A source of the shop's other builds. ``session`` is the build under review: it is left out."""

    def cases(self, procedure: str, session: str) -> Sequence[ShopCase]:
        """The come-backs of builds by the procedure with this id, the oldest first, without findings withdrawn."""
        ...

    def readings(self, procedure: str, session: str, simulated: bool) -> Sequence[OtherReading]:
        """The values in force of the last builds by this procedure, the oldest build first.

        Either only simulated builds, or only real ones.
        """
        ...
