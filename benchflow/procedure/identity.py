"""Identity of a value and of a step: the name that the author gave, and the place where it is repeated.

As text, in files, logs and messages, both are ``name`` or ``name[place]``: ``end-play``, ``journal[2]``.
Only this module converts between these texts and their parts.
"""

import re
from typing import NamedTuple, Self

ALL_PLACES = "*"
"""The place in ``journal[*]``: every place that the value or operation has."""

_with_place = re.compile(r"(.+)\[([^\[\]]*)\]", re.DOTALL)


class ValueRef(NamedTuple):
    """A recorded, calculated or chosen value.

    ``place`` is ``None`` for a value that is not repeated. ``reading`` is the slot of one of several readings, ``None``
    for the whole value; it is not part of the text form.
    """

    name: str
    place: str | None = None
    reading: str | None = None

    @classmethod
    def parse(cls, text: str) -> Self:
        """The value with the text ``name`` or ``name[place]``. Any other text has no place."""
        found = _with_place.fullmatch(text)
        return cls(text) if found is None else cls(found[1], found[2])

    def __str__(self) -> str:
        return self.name if self.place is None else f"{self.name}[{self.place}]"


class StepId(NamedTuple):
    """A step of a plan: an operation, at one place where the operation is repeated."""

    operation: str
    place: str | None = None

    @classmethod
    def parse(cls, text: str) -> Self:
        """The step with the text ``operation`` or ``operation[place]``. Any other text has no place."""
        found = _with_place.fullmatch(text)
        return cls(text) if found is None else cls(found[1], found[2])

    def __str__(self) -> str:
        return self.operation if self.place is None else f"{self.operation}[{self.place}]"


def prefix_of_places(name: str) -> str:
    """Return the beginning of ``name`` with any place: ``journal[`` for ``journal[1]`` and ``journal[2]``."""
    return f"{name}["
