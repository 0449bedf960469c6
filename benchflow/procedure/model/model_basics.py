"""Types that every part of the procedure model uses: places in the file, names, cautions, values of state variables."""

from typing import Literal

from msgspec import Struct

Signal = Literal["danger", "warning", "caution", "notice"]
"""Signal words of ANSI Z535 / ISO 3864, strongest first."""


class Mark(Struct, frozen=True, array_like=True):
    """Line and column in the author's file, both from 1. ``Mark(0, 0)`` means no particular place."""

    line: int = 0
    column: int = 0


class Ref(Struct, frozen=True):
    """A name that the author wrote, for example under ``after`` or ``uses``, and where it is written."""

    name: str
    mark: Mark = Mark()


class Caution(Struct, frozen=True):
    """A warning with its signal word."""

    signal: Signal
    text: str


Values = dict[str, tuple[str, ...]]
"""State variable to the accepted values (``needs``) or the forbidden ones (``never``)."""

Settings = dict[str, str]
"""State variable to the one value that it gets (``sets``) or has meanwhile (``during``)."""
