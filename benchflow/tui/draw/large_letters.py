"""Large letters, four rows high, drawn with quarter-block characters.

Each letter is five dots wide and seven dots high, as on a dot-matrix display. ``DOTS`` has two hexadecimal digits for
each row of dots, from the top; the leftmost dot is 16.
"""

import unicodedata

from benchflow.tui.draw.styled_lines import Line, Role, styled

ROWS = 4
COLUMNS = 3
"""Cells for each letter, including the gap after it."""

DOTS = {
    " ": "00000000000000", "A": "0E11111F111111", "B": "1E11111E11111E", "C": "0E11101010110E",
    "D": "1E11111111111E", "E": "1F10101E10101F", "F": "1F10101E101010", "G": "0E11101711110F",
    "H": "1111111F111111", "I": "0E04040404040E", "J": "0702020202120C", "K": "11121418141211",
    "L": "1010101010101F", "M": "111B1515111111", "N": "11191513111111", "O": "0E11111111110E",
    "P": "1E11111E101010", "Q": "0E11111115120D", "R": "1E11111E141211", "S": "0F10100E01011E",
    "T": "1F040404040404", "U": "1111111111110E", "V": "11111111110A04", "W": "11111115151B11",
    "X": "11110A040A1111", "Y": "11110A04040404", "Z": "1F01020408101F",
    "a": "00000E010F110F", "b": "10101E1111111E", "c": "00000E1010110E", "d": "01010F1111110F",
    "e": "00000E111F100E", "f": "0609081C080808", "g": "000F11110F010E", "h": "10101619111111",
    "i": "04000C0404040E", "j": "0200060202120C", "k": "10101214181412", "l": "0C04040404040E",
    "m": "00001A15151111", "n": "00001619111111", "o": "00000E1111110E", "p": "00001E111E1010",
    "q": "00000D130F0101", "r": "00001619101010", "s": "00000E100E011E", "t": "08081C08080906",
    "u": "0000111111130D", "v": "00001111110A04", "w": "0000111115150A", "x": "0000110A040A11",
    "y": "000011110F010E", "z": "00001F0204081F",
    "0": "0E11131519110E", "1": "040C040404040E", "2": "0E11010204081F", "3": "1F02040201110E",
    "4": "02060A121F0202", "5": "1F101E0101110E", "6": "0608101E11110E", "7": "1F010204080808",
    "8": "0E11110E11110E", "9": "0E11110F01020C",
    ".": "00000000000C0C", ",": "000000000C0408", ":": "000C0C000C0C00", ";": "000C0C000C0408",
    "-": "0000001F000000", "+": "0004041F040400", "/": "00010204081000", "(": "02040808080402",
    ")": "08040202020408", "'": "0C040800000000", '"': "0A0A0A00000000", "%": "18190204081303",
    "±": "04041F0404001F", "°": "0C12120C000000", "·": "0000000C0C0000", "×": "00110A040A1100",
    "=": "00001F001F0000", "?": "0E110102040004", "!": "04040404000004", "&": "0C12140815120D",
    "#": "0A0A1F0A1F0A0A", "[": "0E08080808080E", "]": "0E02020202020E", "_": "0000000000001F",
    "µ": "000011111D1010", "…": "00000000000015", "►": "080C0E0F0E0C08", "▲": "00040E0E1F1F00",
}  # fmt: skip
SAME = {"–": "-", "—": "-", "−": "-", "’": "'", "‘": "'", "“": '"', "”": '"', "μ": "µ"}
QUARTERS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"
"""Block characters. The index is the sum of the dots: top left 1, top right 2, bottom left 4, bottom right 8."""


def large_width(text: str) -> int:
    """Return the width of a text in large letters, in cells."""
    return COLUMNS * len(text)


def large_lines(text: str, role: Role = "strong") -> list[Line]:
    """Draw a text in four rows. If a character has no large letter, the text is one row of normal letters."""
    letters = [_dots(char) for char in text]
    if any(letter is None for letter in letters):
        return [styled(text, role)]
    rows: list[Line] = []
    for row in range(ROWS):
        cells = [_cell(letter, row, column) for letter in letters if letter for column in range(COLUMNS)]
        rows.append(styled("".join(cells).rstrip(), role))
    return rows


def large_fits(text: str, width: int, max_lines: int) -> bool:
    """True if the whole text fits into ``max_lines`` lines of large letters."""
    available = max(width // COLUMNS, 1)
    lines = _broken(text, available)
    return len(lines) <= max_lines and all(len(line) <= available for line in lines)


def large_wrapped(text: str, width: int, max_lines: int, role: Role = "strong") -> list[Line]:
    """Draw a text in large letters, in at most ``max_lines`` lines. A longer text ends with an ellipsis."""
    available = max(width // COLUMNS, 1)
    lines = _broken(text, available)
    if len(lines) > max_lines:
        lines = [*lines[: max_lines - 1], " ".join(lines[max_lines - 1 :])]
    out: list[Line] = []
    for each in lines:
        out.extend(large_lines(each if len(each) <= available else each[: available - 1] + "…", role))
    return out


def _broken(text: str, available: int) -> list[str]:
    lines: list[str] = []
    line = ""
    for word in text.split():
        joined = f"{line} {word}" if line else word
        if line and len(joined) > available:
            lines.append(line)
            line = word
        else:
            line = joined
    return [*lines, line]


def _dots(char: str) -> tuple[int, ...] | None:
    plain = SAME.get(char, char)
    if plain not in DOTS:
        plain = unicodedata.normalize("NFD", plain)[0]  # show the letter without its accent
    code = DOTS.get(plain)
    return None if code is None else tuple(int(code[at : at + 2], 16) for at in range(0, 14, 2))


def _cell(letter: tuple[int, ...], row: int, column: int) -> str:
    lit = 0
    for bit, (down, right) in enumerate(((0, 0), (0, 1), (1, 0), (1, 1))):
        y, x = row * 2 + down, column * 2 + right
        if y < len(letter) and x < 5 and letter[y] & (16 >> x):
            lit |= 1 << bit
    return QUARTERS[lit]
