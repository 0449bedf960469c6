"""Identity of a value and of a step: the name that the author gave, and the place where it is repeated.

As text, in files, logs and messages, both are ``name`` or ``name[place]``: ``end-play``, ``journal[2]``. One of several
readings of a value has a second index, ``journal[2, left]``, or only its own if the value is not repeated:
``crown[left]``. Only this module converts between these texts and their parts.
"""

import re
from typing import NamedTuple, Self

ALL_PLACES = "*"
"""The index in ``journal[*]``: every place, or every reading, that there is."""

_with_place = re.compile(r"(.+)\[([^\[\]]*)\]", re.DOTALL)


class ValueRef(NamedTuple):
    """A recorded, calculated or chosen value.

    ``place`` is ``None`` for a value that is not repeated. ``reading`` is the slot of one of several readings, ``None``
    for the whole value.
    """

    name: str
    place: str | None = None
    reading: str | None = None

    @classmethod
    def parse(cls, text: str) -> Self:
        """The value with the text ``name``, ``name[place]`` or ``name[place, reading]``. Any other text has no place.

        A single index is taken as a place. :meth:`benchflow.procedure.plan.Plan.ref` knows whether it is a reading.
        """
        found = _with_place.fullmatch(text)
        if found is None:
            return cls(text)
        place, comma, reading = found[2].rpartition(",")
        return cls(found[1], place.strip(), reading.strip()) if comma else cls(found[1], found[2])

    @property
    def indexes(self) -> tuple[str, ...]:
        """The place and the reading, as far as there are any. They are the indexes of the text form."""
        return tuple(index for index in (self.place, self.reading) if index is not None)

    def __str__(self) -> str:
        return f"{self.name}[{', '.join(self.indexes)}]" if self.indexes else self.name


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
