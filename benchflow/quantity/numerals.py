"""Parses numbers as people write them: decimals, fractions, mixed numbers, and words such as ``quarter``.

Numbers are exact. Exponents and commas are refused. The number of digits is limited.
"""

import re
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

MAX_LENGTH = 200
"""The largest number of characters in a quantity or limit. A limit printed in two units has fewer than 80."""
MAX_DIGITS = 20
"""The largest number of digits in a number. The most precise instrument of the trade needs 8."""


class NumeralError(Exception):
    """Text that is not a number. The callers raise a ``QuantityError`` or ``FormulaError`` from it."""

    def __init__(self, at: int, why: str, hint: str = "") -> None:
        super().__init__(why)
        self.at, self.why, self.hint = at, why, hint


class Number(NamedTuple):
    """A number. ``value`` has the digits as written. It is ``None`` if the decimal does not end, such as 1/3.

    ``step`` is one step of the last written digit: 0.01 for ``0.15``, 1/64 for ``1 1/64``; ``None`` for a word.
    """

    value: Decimal | None
    exact: Fraction
    step: Fraction | None
    is_fraction: bool = False


# Each character is replaced by one character, so that indexes stay valid.
_UNIFORM = {
    **dict.fromkeys(map(ord, "\u00a0\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f\u205f\u3000\t"), " "),
    **dict.fromkeys(map(ord, "\u2212\u2010\u2011\u2012\u2013\u2014\ufe63"), "-"),
    **dict.fromkeys(map(ord, "\u22c5\u2022\u2219\u30fb\u00d7\u2027"), "·"),
    **dict.fromkeys(map(ord, "\u2033\u201c\u201d\u201f"), '"'),
    **dict.fromkeys(map(ord, "\u2032\u2018\u2019"), "'"),
    **dict.fromkeys(map(ord, "\u00ba\u02da"), "°"),
    **dict.fromkeys(map(ord, "\u2044\u2215"), "/"),
    0x03BC: "µ",
    **{code: chr(code - 0xFEE0) for code in range(0xFF01, 0xFF5F)},  # full-width forms
}


def uniform(text: str) -> str:
    """Return ``text`` with look-alike characters (full-width digits, minus signs, spaces ...) replaced one for one."""
    return text.replace("\t", " ") if text.isascii() else text.translate(_UNIFORM)


_VULGAR = {
    "½": (1, 2), "⅓": (1, 3), "⅔": (2, 3), "¼": (1, 4), "¾": (3, 4), "⅕": (1, 5), "⅖": (2, 5), "⅗": (3, 5),
    "⅘": (4, 5), "⅙": (1, 6), "⅚": (5, 6), "⅛": (1, 8), "⅜": (3, 8), "⅝": (5, 8), "⅞": (7, 8), "⅒": (1, 10),
}  # fmt: skip

_WORDS = {
    "half": Fraction(1, 2), "one half": Fraction(1, 2), "quarter": Fraction(1, 4), "one quarter": Fraction(1, 4),
    "three quarter": Fraction(3, 4), "three quarters": Fraction(3, 4), "third": Fraction(1, 3),
    "one third": Fraction(1, 3), "two thirds": Fraction(2, 3), "sixth": Fraction(1, 6), "one sixth": Fraction(1, 6),
    "eighth": Fraction(1, 8), "one eighth": Fraction(1, 8), "one": Fraction(1), "two": Fraction(2),
    "three": Fraction(3), "full": Fraction(1), "one full": Fraction(1), "a full": Fraction(1), "a": Fraction(1),
    "a half": Fraction(1, 2), "a quarter": Fraction(1, 4), "a third": Fraction(1, 3), "a sixth": Fraction(1, 6),
    "an eighth": Fraction(1, 8),
}  # fmt: skip
_WORD = re.compile(
    r"(?:(?:an?|one|two|three)[ -])?(?:half|quarters?|thirds?|sixth|eighth|full)(?![^\W_])"
    r"|(?:an?|one|two|three)(?![^\W_])",
    re.IGNORECASE,
)
_OF = re.compile(r" (?:of )?(?:an? )?", re.IGNORECASE)
_DIGITS = re.compile(r"[0-9]+")
_FRACTION = re.compile(r"(?:[ ]{1,3}|-)?([0-9]{1,4})/([0-9]{1,4})(?![0-9])")


def skip_space(text: str, i: int) -> int:
    """Return the index of the first character at or after ``i`` that is not a space."""
    while i < len(text) and text[i] == " ":
        i += 1
    return i


def scan_number(text: str, start: int) -> tuple[Number, int]:
    """Return the number at ``start`` in a text from :func:`uniform`, and the index after it.

    Raises:
        NumeralError: there is no number, or it has a form that is refused.
    """
    i, sign = start, 1
    if text[i : i + 1] in ("+", "-"):
        sign = -1 if text[i] == "-" else 1
        i = skip_space(text, i + 1)
    whole = _DIGITS.match(text, i)
    if whole is None and text[i : i + 1] != ".":
        return _without_digits(text, i, sign)
    end = whole.end() if whole else i
    if end < len(text) and text[end] == "." and text[end + 1 : end + 2] != ".":
        part = _DIGITS.match(text, end + 1)
        if part is None and whole is None:
            raise NumeralError(i, "this decimal point has no digits")
        end = part.end() if part else end + 1
        return _decimal(text, i, end, sign)
    if whole is None:
        raise NumeralError(i, "a number is expected here")
    if text[end : end + 1] == "/" or text[end : end + 1] in _VULGAR or text[end : end + 1] in (" ", "-"):
        mixed = _mixed(text, i, end, sign)
        if mixed is not None:
            return mixed
    return _decimal(text, i, end, sign)


def _decimal(text: str, i: int, end: int, sign: int) -> tuple[Number, int]:
    if end - i > MAX_DIGITS + 1:
        raise NumeralError(
            i + MAX_DIGITS,
            f"the number has more than {MAX_DIGITS} digits",
            "write only the digits that the gauge shows",
        )
    _refuse_comma(text, i, end)
    if text[end : end + 1] == ".":
        if text[end + 1 : end + 2] != ".":
            raise NumeralError(end, "the number has a second decimal point")
    elif text[end : end + 1] in ("e", "E") and text[end + 1 : end + 2] in tuple("0123456789+-"):
        raise NumeralError(end, "powers of ten are not accepted", "write all digits")
    elif text[end : end + 1] in ("_",):
        raise NumeralError(end, "a number can have only digits and a decimal point")
    value = Decimal(text[i:end])
    value = value.copy_negate() if sign < 0 and value else value
    digits = value.as_tuple().exponent
    return Number(value, Fraction(value), Fraction(10) ** (digits if isinstance(digits, int) else 0)), end


def _refuse_comma(text: str, i: int, end: int) -> None:
    """Refuse a comma. It separates thousands in some countries and decimals in others."""
    if text[end : end + 1] != "," or not text[end + 1 : end + 2].isdigit():
        return
    follow = _DIGITS.match(text, end + 1)
    tail = follow.group() if follow else ""
    point, joined = f"{text[i:end]}.{tail}", f"{text[i:end]}{tail}"
    hint = f"write {point}"
    if follow and (text[follow.end() : follow.end() + 1] in (".", ",") or "." in text[i:end]):
        hint = "write the number without commas"
    elif len(tail) == 3:
        hint = f"write {point} or {joined}"
    raise NumeralError(end, "a comma can mean a decimal point or thousands", hint)


def _mixed(text: str, i: int, end: int, sign: int) -> tuple[Number, int] | None:
    """Parse ``1/64``, ``1 1/64``, ``1-1/64`` or ``1½``. ``None`` means that no fraction follows the number."""
    if end - i > MAX_DIGITS:
        return None
    if text[end] in _VULGAR:
        top, bottom = _VULGAR[text[end]]
        return _fraction(Fraction(int(text[i:end])) + Fraction(top, bottom), sign, bottom), end + 1
    if text[end] == "/":
        alone = _FRACTION.match(text, i)
        if alone is None or alone.start(1) != i:
            if text[end + 1 : end + 2].isdigit():
                raise NumeralError(i, "a fraction can have at most four digits above the line and four below it")
            return None
        return _fraction(_quotient(alone), sign, int(alone[2])), alone.end()
    space = skip_space(text, end)
    if text[space : space + 1] in _VULGAR:
        top, bottom = _VULGAR[text[space]]
        return _fraction(Fraction(int(text[i:end])) + Fraction(top, bottom), sign, bottom), space + 1
    after = _FRACTION.match(text, end)
    if after is None:
        return None
    part = _quotient(after)
    if part >= 1:
        raise NumeralError(after.start(1), "the fraction in a mixed number must be less than one")
    return _fraction(Fraction(int(text[i:end])) + part, sign, int(after[2])), after.end()


def _quotient(match: re.Match[str]) -> Fraction:
    """Return the fraction that a match of ``_FRACTION`` writes."""
    if int(match[2]) == 0:
        raise NumeralError(match.start(2), "a fraction cannot have zero below the line")
    return Fraction(int(match[1]), int(match[2]))


def _without_digits(text: str, i: int, sign: int) -> tuple[Number, int]:
    """Parse a number that does not begin with a digit, such as ``½`` or ``quarter``."""
    char = text[i : i + 1]
    if char in _VULGAR and char:
        return _fraction(Fraction(*_VULGAR[char]), sign, _VULGAR[char][1]), i + 1
    word = _WORD.match(text, i)
    if word is not None:
        value = _WORDS.get(word.group().casefold().replace("-", " "))
        if value is not None:
            of = _OF.match(text, word.end())
            end = of.end() - 1 if of else word.end()
            return _fraction(value, sign, None), end
    if char == ",":
        raise NumeralError(i, "a comma can mean a decimal point or thousands", "write a decimal point")
    raise NumeralError(i, "a number is expected here" if text.strip() else "the text is empty")


def _fraction(value: Fraction, sign: int, parts: int | None) -> Number:
    """Return a number written as a fraction with ``parts`` below the line; ``None`` for a word."""
    value *= sign
    return Number(exact_decimal(value), value, None if parts is None else Fraction(1, parts), is_fraction=True)


def exact_decimal(value: Fraction) -> Decimal | None:
    """Return ``value`` as an exact decimal without trailing zeros, ``None`` if the decimal does not end."""
    rest, twos, fives = value.denominator, 0, 0
    while rest % 2 == 0:
        rest, twos = rest // 2, twos + 1
    while rest % 5 == 0:
        rest, fives = rest // 5, fives + 1
    if rest != 1:
        return None
    places = max(twos, fives)
    return Decimal(f"{value.numerator * 10**places // value.denominator}E-{places}")
