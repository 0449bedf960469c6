"""A configuration: the operations done, and how the assembly stands."""

from msgspec import Struct

from benchflow.procedure.model import Settings, Values

Valuation = dict[str, str | None]
"""Variable to its value; ``None`` is not known."""


class Configuration(Struct, frozen=True):
    """``done`` holds step ids of the plan."""

    done: frozenset[str]
    valuation: Valuation


def after_setting(valuation: Valuation, settings: Settings) -> Valuation:
    """The valuation with ``settings`` written over it."""
    return {**valuation, **settings} if settings else valuation


def unmet(valuation: Valuation, needs: Values) -> dict[str, tuple[str, ...]]:
    """The part of ``needs`` that does not stand. What is not known meets no need."""
    return {name: wanted for name, wanted in needs.items() if valuation.get(name) not in wanted}


def matches(valuation: Valuation, never: Values) -> bool:
    """Whether a rule matches. What is not known matches every value."""
    for name, values in never.items():
        value = valuation.get(name)
        if value is not None and value not in values:
            return False  # a loop, since the bench asks this of every rule for every operation
    return True
