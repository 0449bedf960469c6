"""Every theme is readable, also on a plain terminal and without colour."""

from colorsys import rgb_to_hls

import pytest
from rich.color import Color

from benchflow.tui.draw.styled_lines import Role
from benchflow.tui.draw.themes import DARK, NAMES, Name, bench_theme, initial_theme

QUIET: frozenset[Role] = frozenset({"rule"})
"""Roles of lines without text."""
LEAST = 4.5
"""Minimum contrast of text by WCAG 2.2 (1.4.3)."""


def luminance(colour: Color) -> float:
    """Relative luminance of an sRGB colour, as WCAG defines it."""
    assert colour.triplet is not None
    parts = [value / 255 for value in colour.triplet]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("name", ["dark", "light"])
def test_every_role_has_enough_contrast(name: str) -> None:
    theme = bench_theme("dark" if name == "dark" else "light")
    for role, style in theme.styles.items():
        if role in QUIET:
            continue
        assert style.color is not None, role
        assert style.bgcolor is not None, role
        lighter, darker = sorted((luminance(style.color), luminance(style.bgcolor)), reverse=True)
        assert (lighter + 0.05) / (darker + 0.05) >= LEAST, role


def test_plain_theme_has_no_colour() -> None:
    assert all(style.color is None and style.bgcolor is None for style in bench_theme("plain").styles.values())


def test_every_role_has_a_style_in_every_theme() -> None:
    assert all(set(bench_theme(name).styles) == set(DARK) for name in NAMES)


RED: frozenset[Role] = frozenset({"danger", "out-of-limit"})


def is_red(colour: Color | None) -> bool:
    """True if the hue of a colour is within 20 degrees of red, and the colour is not a grey."""
    if colour is None or colour.is_default:
        return False
    red, green, blue = (part / 255 for part in colour.get_truecolor())
    hue, _, saturation = rgb_to_hls(red, green, blue)
    return saturation > 0.2 and min(hue, 1 - hue) <= 20 / 360


@pytest.mark.parametrize("name", ["dark", "light", "16-colour"])
def test_only_danger_and_out_of_limit_are_red(name: Name) -> None:
    styles = bench_theme(name).styles
    assert {role for role, style in styles.items() if is_red(style.color) or is_red(style.bgcolor)} == RED


@pytest.mark.parametrize("name", NAMES)
def test_reading_out_of_its_limit_is_a_panel(name: Name) -> None:
    styles = bench_theme(name).styles
    style = styles["out-of-limit"]
    assert style.reverse or style.bgcolor not in (None, styles["text"].bgcolor)


@pytest.mark.parametrize("name", ["16-colour", "plain"])
def test_important_roles_differ_from_text_without_colour(name: str) -> None:
    theme = bench_theme("plain" if name == "plain" else "16-colour")
    for role in ("danger", "warning", "caution", "notice", "next", "cursor"):
        style = theme.styles[role]
        assert style.reverse or style.bgcolor is not None, role


@pytest.mark.parametrize(
    ("environment", "kept", "expected"),
    [
        ({"NO_COLOR": "1", "COLORTERM": "truecolor"}, "dark", "plain"),
        ({"NO_COLOR": "", "COLORTERM": "truecolor"}, "", "dark"),
        ({"TERM": "xterm-256color"}, "light", "light"),
        ({"TERM": "xterm-256color"}, "nonsense", "dark"),
        ({"TERM": "linux"}, "", "16-colour"),
    ],
)
def test_initial_theme_depends_on_no_color_last_choice_and_terminal(
    environment: dict[str, str], kept: str, expected: str
) -> None:
    assert initial_theme(environment, kept) == expected
