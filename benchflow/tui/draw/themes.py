"""Themes: a style for each role. There is a dark, a light, a 16-colour and a colourless theme.

Words and shapes carry the meaning in every theme. Colour only repeats it. The four signal words have the panel
colours of ANSI Z535.4 (danger red, warning orange, caution yellow, notice blue). Nothing else is red but a figure out
of its limit.
"""

from collections.abc import Mapping
from functools import cache
from typing import Literal

from msgspec import Struct
from rich.style import Style

from benchflow.tui.draw.styled_lines import Role

Name = Literal["dark", "light", "16-colour", "plain"]
NAMES: tuple[Name, ...] = ("dark", "light", "16-colour", "plain")

DARK: dict[Role, str] = {
    "text": "#dcd8cf",
    "strong": "bold #f7f3ea",
    "faint": "#9d988e",
    "title": "bold #f7f3ea",
    "header": "#b9b4a9 on #22262b",
    "header-strong": "bold #f7f3ea on #22262b",
    "label": "#cfa968",
    "rule": "#41464d",
    "key": "bold #f0c674",
    "key-off": "#8a867d",
    "now": "bold #f0c674",
    "ready": "#a9cfae",
    "blocked": "#c3b1e1",
    "done": "#9d988e",
    "paused": "#cfa968",
    "danger": "bold #ffffff on #c41230",
    "warning": "bold #000000 on #f5821f",
    "caution": "bold #000000 on #f9d616",
    "notice": "bold #ffffff on #0061a8",
    "ok": "bold #a9cfae",
    "out-of-limit": "bold #16181b on #ff7b6b",
    "attention": "bold #f0c674",
    "field": "#f7f3ea on #30363d",
    "cursor": "#16181b on #f0c674",
    "next": "bold #16181b on #f0c674",
    "alarm": "bold #ffa94d",
    "chosen": "bold #f7f3ea on #30363d",
}

LIGHT: dict[Role, str] = {
    "text": "#262420",
    "strong": "bold #0c0b0a",
    "faint": "#635f56",
    "title": "bold #0c0b0a",
    "header": "#4a463e on #e6dfd0",
    "header-strong": "bold #0c0b0a on #e6dfd0",
    "label": "#7a4b00",
    "rule": "#c4bca9",
    "key": "bold #7a4300",
    "key-off": "#757067",
    "now": "bold #7a4300",
    "ready": "#1d5e30",
    "blocked": "#5b3a8c",
    "done": "#635f56",
    "paused": "#7a4b00",
    "danger": "bold #ffffff on #c41230",
    "warning": "bold #000000 on #f5821f",
    "caution": "bold #000000 on #f9d616",
    "notice": "bold #ffffff on #0061a8",
    "ok": "bold #1d5e30",
    "out-of-limit": "bold #ffffff on #b3261e",
    "attention": "bold #7a4300",
    "field": "#0c0b0a on #e2d9c4",
    "cursor": "#faf7f0 on #7a4300",
    "next": "bold #faf7f0 on #7a4300",
    "alarm": "bold #8a4100",
    "chosen": "bold #0c0b0a on #e2d9c4",
}

# Most roles use the terminal's own foreground and background, so the theme is readable on dark and on light terminals.
# A colour needs its own background. Green does not, because it is readable on both.
SIXTEEN: dict[Role, str] = {
    "text": "",
    "strong": "bold",
    "faint": "",
    "title": "bold",
    "header": "reverse",
    "header-strong": "reverse bold",
    "label": "bold",
    "rule": "",
    "key": "bold",
    "key-off": "",
    "now": "bold",
    "ready": "",
    "blocked": "",
    "done": "",
    "paused": "",
    "danger": "bold white on red",
    "warning": "black on yellow",
    "caution": "black on bright_yellow",
    "notice": "bold white on blue",
    "ok": "bold green",
    "out-of-limit": "bold white on red",
    "attention": "bold",
    "field": "underline",
    "cursor": "reverse",
    "next": "reverse bold",
    "alarm": "bold",
    "chosen": "reverse",
}

PLAIN: dict[Role, str] = {
    **SIXTEEN,
    "danger": "reverse bold",
    "warning": "reverse bold",
    "caution": "reverse bold",
    "notice": "reverse bold",
    "ok": "bold",
    "out-of-limit": "reverse bold",
}


class BenchTheme(Struct, frozen=True):
    """A theme. With ``own_colours`` it has its own 24-bit background, otherwise the background of the terminal."""

    name: Name
    title: str
    styles: Mapping[Role, Style]
    own_colours: bool
    background: str = ""
    foreground: str = ""


@cache
def bench_theme(name: Name) -> BenchTheme:
    """Return a theme by its name."""
    match name:
        case "dark":
            return BenchTheme(name, "dark", _styles_on(DARK, "#16181b"), True, "#16181b", "#dcd8cf")
        case "light":
            return BenchTheme(name, "light", _styles_on(LIGHT, "#faf7f0"), True, "#faf7f0", "#262420")
        case "16-colour":
            return BenchTheme(name, "16 colours", _styles(SIXTEEN), False)
        case "plain":
            return BenchTheme(name, "no colour", _styles(PLAIN), False)


def initial_theme(environment: Mapping[str, str], saved_name: str = "") -> Name:
    """Return the theme to start with.

    It is the colourless theme if NO_COLOR is set (no-color.org), else the theme used last, else one that the terminal
    can show.
    """
    if environment.get("NO_COLOR"):
        return "plain"
    for name in NAMES:
        if name == saved_name:
            return name
    many_colours = environment.get("COLORTERM", "") in ("truecolor", "24bit")
    return "dark" if many_colours or "256color" in environment.get("TERM", "") else "16-colour"


def _styles(table: Mapping[Role, str]) -> dict[Role, Style]:
    return {role: Style.parse(text) if text else Style.null() for role, text in table.items()}


def _styles_on(table: Mapping[Role, str], background: str) -> dict[Role, Style]:
    under = Style(bgcolor=background)
    return {role: under + Style.parse(text) for role, text in table.items()}
