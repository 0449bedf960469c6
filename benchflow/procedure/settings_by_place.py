"""Settings of state variables by place: in an operation a plain name means the variable of the same place."""

from collections.abc import Mapping
from typing import TypeVar

from benchflow.procedure.identity import ALL_PLACES, StepId
from benchflow.procedure.model import Variable

T = TypeVar("T")


def settings_at(
    settings: Mapping[str, T], families: Mapping[str, tuple[Variable, ...]], site_places: Mapping[str, str]
) -> dict[str, T]:
    """The settings of a step with the variable of its place for each plain name.

    ``site_places`` is the place of the step for each set that repeats it.
    """
    if not families:
        return dict(settings)
    found: dict[str, T] = {}
    for name, value in settings.items():
        family, place = StepId.parse(name)
        members = families.get(family, ())
        if not members:
            found[name] = value
        elif place is None:
            here = site_places.get(members[0].each or "")
            found.update({one.name: value for one in members if one.place == here})
        else:
            found.update({one.name: value for one in members if place in (ALL_PLACES, one.place)})
    return found
