"""Identity of a value and of a step: the name that the author gave, and the place where it is repeated.

As text, in files, logs and messages, both are ``name`` or ``name[place]``: ``end-play``, ``journal[2]``. One of several
readings of a value has a second index, ``journal[2, left]``, or only its own if the value is not repeated:
``crown[left]``. Only this module converts between these texts and their parts.

An operation with `each` in a section with `each` is repeated over two sets. Its place has two parts, that of the
section first: ``seat[4, left]`` is at the place ``"4, left"`` of the set ``"cap, side"``.
"""

import re
from collections.abc import Iterable
from typing import NamedTuple, Self

ALL_PLACES = "*"
"""The index in ``journal[*]``: every place, or every reading, that there is."""

_BETWEEN = ", "
"""What separates the parts of a place, and of a set of places. A label has no comma."""

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
        *places, last = (index.strip() for index in found[2].split(","))
        return cls(found[1], joined(places), last) if places else cls(found[1], found[2])

    @property
    def indexes(self) -> tuple[str, ...]:
        """The parts of the place and the reading, as far as there are any. They are the indexes of the text form."""
        return (*parts(self.place), *(() if self.reading is None else (self.reading,)))

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
        if found is None:
            return cls(text)
        return cls(found[1], joined(index.strip() for index in found[2].split(",")) if "," in found[2] else found[2])

    def __str__(self) -> str:
        return self.operation if self.place is None else f"{self.operation}[{self.place}]"


def parts(place: str | None) -> tuple[str, ...]:
    """The parts of a place, or of the name of a set of places: one, or two where two sets are combined."""
    return () if place is None else tuple(place.split(_BETWEEN))


def joined(parts_of_place: Iterable[str]) -> str | None:
    """The place, or the set of places, with these parts; ``None`` if there are none."""
    found = tuple(parts_of_place)
    return _BETWEEN.join(found) if found else None


def is_several(place: str | None) -> bool:
    """True if ``place`` means several places: ``*``, ``4, *``."""
    return ALL_PLACES in parts(place)


def fits(pattern: str, place: str) -> bool:
    """True if ``place`` is one of those that ``pattern`` means: ``*`` in it stands for every part."""
    wanted, given = parts(pattern), parts(place)
    return len(wanted) == len(given) and all(
        one in (ALL_PLACES, other) for one, other in zip(wanted, given, strict=True)
    )


def name_at(name: str, place: str | None) -> str:
    """The name of something repeated at a place: ``pushrod[2]``."""
    return str(StepId(name, place))


def prefix_of_places(name: str) -> str:
    """Return the beginning of ``name`` with any place: ``journal[`` for ``journal[1]`` and ``journal[2]``."""
    return f"{name}["
