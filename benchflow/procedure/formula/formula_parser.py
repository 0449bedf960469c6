"""Parses formulas: recursive descent, with a limit on length and nesting."""

import re
from collections.abc import Container

from msgspec.structs import replace

from benchflow.procedure.formula.expression import (
    OF_ONE,
    OVER_PLACES,
    BinaryOperation,
    Call,
    Constant,
    Expression,
    Formula,
    FormulaError,
    Function,
    NameNode,
    Negation,
    map_names,
    render,
    walk,
)
from benchflow.procedure.identity import ALL_PLACES, ValueRef
from benchflow.quantity import units
from benchflow.quantity.notation import unit_end
from benchflow.quantity.numerals import Number, NumeralError, scan_number, skip_space, uniform
from benchflow.quantity.types import printable

MAX_LENGTH = 300
MAX_NESTING = 20
MOST_INDEXES = 3

_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]*(?:-+[A-Za-z0-9_]+)*")
_PLACE = re.compile(r"\[([^\[\]]*)\]")
_DIGIT_START = frozenset("0123456789.½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞⅒")
_FUNCTIONS: dict[str, Function] = {name: name for name in (*OVER_PLACES, *OF_ONE)}


def parse_formula(text: str) -> Formula:
    """Parse a formula. Its units are not checked yet.

    Raises:
        FormulaError: the text is not a formula.
    """
    if len(text) > MAX_LENGTH:
        raise FormulaError(
            text,
            MAX_LENGTH,
            f"The formula has more than {MAX_LENGTH} characters",
            "Split it into two calculated values",
        )
    return parse_any_length(text)


def parse_any_length(text: str) -> Formula:
    """Parse a formula that the program has written out, which can be longer than an author's.

    Raises:
        FormulaError: the text is not a formula.
    """
    return Formula(text, _FormulaParser(text).formula())


def written_out(formula: Formula) -> Formula:
    """The formula with the text that :func:`render` gives."""
    return parse_any_length(render(formula))


def at_place(formula: Formula, repeated: Container[str], place: str) -> Formula:
    """The formula at one place: each name in ``repeated`` that has no index gets ``place``."""
    return written_out(
        map_names(
            formula, lambda node: replace(node, place=place) if node.place is None and node.name in repeated else node
        )
    )


class _FormulaParser:
    def __init__(self, text: str) -> None:
        self.text, self.i, self.depth = text, 0, 0
        self.plain = uniform(text.replace("×", "*").replace("÷", "/"))
        self.before = ""  # the last operator, to find a fraction after a division

    def error(self, at: int, why: str, hint: str = "") -> FormulaError:
        return FormulaError(self.text, at, why, hint)

    def peek(self) -> str:
        self.i = skip_space(self.plain, self.i)
        return self.plain[self.i : self.i + 1]

    def formula(self) -> Expression:
        if not self.peek():
            raise self.error(0, "The formula is empty", "Write, for example, `bore - journal`")
        root = self.sum()
        if char := self.peek():
            raise self.unexpected(char)
        for node in walk(root):
            if isinstance(node, NameNode) and node.is_starred and not self.is_in_call_over_places(root, node):
                one = node.key.replace(ALL_PLACES, "1")
                hint = f"Write `mean({node.key})` or `max({node.key})`, or name one of them, such as `{one}`"
                raise FormulaError(self.text, node.at, f"`{node.key}` is more than one value", hint, "which-reading")
        return root

    def is_in_call_over_places(self, root: Expression, name: NameNode) -> bool:
        return any(
            isinstance(call, Call) and call.function in OVER_PLACES and any(name is node for node in walk(call))
            for call in walk(root)
        )

    def unexpected(self, char: str) -> FormulaError:
        if char == "^" or self.plain.startswith("**", self.i):
            return self.error(self.i, "A power is not possible in a formula", "Write `bore * bore`")
        if char == ",":
            return self.error(
                self.i, "A comma is possible only between the values of a function", "Write a decimal point"
            )
        if char == ")":
            return self.error(self.i, "This closing bracket has no opening bracket", "Delete it, or open a bracket")
        if char.isalnum() or char == "(":
            return self.error(self.i, "An operator is missing before this", "Write `+`, `-`, `*` or `/`")
        return self.error(self.i, f"`{printable(char)}` is not possible in a formula")

    def check_nesting(self) -> None:
        self.depth += 1
        if self.depth > MAX_NESTING:
            raise self.error(
                self.i, f"Brackets are nested deeper than {MAX_NESTING}", "Split it into two calculated values"
            )

    def sum(self) -> Expression:
        left = self.product()
        while (char := self.peek()) in ("+", "-") and char:
            at, self.i = self.i, self.i + 1
            left = BinaryOperation("+" if char == "+" else "-", left, self.product(), at)
        return left

    def product(self) -> Expression:
        self.before = ""
        left = self.signed()
        while (char := self.peek()) in ("*", "·", "/") and char and not self.plain.startswith("**", self.i):
            at, self.i = self.i, self.i + 1
            self.before = char
            left = BinaryOperation("/" if char == "/" else "*", left, self.signed(), at)
        return left

    def signed(self) -> Expression:
        char = self.peek()
        if char not in ("-", "+") or not char:
            return self.atom()
        at, self.i = self.i, self.i + 1
        self.check_nesting()
        of = self.signed()
        self.depth -= 1
        return Negation(of, at) if char == "-" else of

    def atom(self) -> Expression:
        char = self.peek()
        if char in _DIGIT_START and char:
            return self.number()
        if char == "(":
            at, self.i = self.i, self.i + 1
            self.check_nesting()
            inner = self.sum()
            self.close(at)
            return inner
        match = _NAME.match(self.plain, self.i)
        if match is None:
            if not char or char in ")+-*/·,":
                raise self.error(self.i, "A value is missing here", "Write a name or a number with its unit")
            raise self.unexpected(char)
        return self.named(match)

    def close(self, opened: int) -> None:
        if (char := self.peek()) != ")":
            raise self.unexpected(char) if char else self.error(opened, "This bracket is not closed", "Close it")
        self.i += 1
        self.depth -= 1

    def named(self, match: "re.Match[str]") -> Expression:
        word, at = match.group(), match.start()
        self.i = match.end()
        if self.peek() == "(":
            return self.call(word, at)
        place = _PLACE.match(self.plain, self.i) if self.plain[match.end() : match.end() + 1] == "[" else None
        if place is None:
            if self.plain[match.end() : match.end() + 1] == "[":
                raise self.error(match.end(), "This bracket is not closed", "Write the place as in `journal[2]`")
            self.i = match.end()
            return NameNode(word, None, None, at)
        self.i = place.end()
        indexes = [index.strip() for index in place.group(1).split(",")]
        if not all(indexes):
            raise self.error(place.start(), "The place is missing", f"Write `{word}[2]`, or `{word}[*]` for all places")
        if len(indexes) > MOST_INDEXES:
            hint = f"Write the place and the reading: `{word}[{indexes[0]}, {indexes[-1]}]`"
            raise self.error(place.start(), f"`{word}` has {len(indexes)} indexes, but {MOST_INDEXES} at most", hint)
        return NameNode(word, *ValueRef.parse(f"{word}[{place.group(1)}]")[1:], at)

    def call(self, word: str, at: int) -> Expression:
        function = _FUNCTIONS.get(word)
        if function is None:
            known = ", ".join(_FUNCTIONS)
            raise self.error(at, f"There is no function `{word}`", f"The functions are {known}")
        opened, self.i = self.i, self.i + 1
        self.check_nesting()
        if self.peek() == ")":
            raise self.error(
                self.i, f"`{word}` has no value in its brackets", f"Write, for example, `{word}(journal[*])`"
            )
        arguments = [self.sum()]
        while self.peek() == ",":
            self.i += 1
            arguments.append(self.sum())
        self.close(opened)
        if function in OF_ONE and len(arguments) > 1:
            raise self.error(at, f"`{word}` takes only one value")
        return Call(function, tuple(arguments), at)

    # numbers

    def number(self) -> Expression:
        at = self.i
        number, end = self.scan(self.plain)
        slash = self.plain.find("/", at, end)
        unit, unit_stop = self.unit(end)
        if slash >= 0:  # 1/64 in is a fraction; without a unit the slash is a division like any other
            if unit == "":
                number, end = self.scan(self.plain[:slash].rstrip())
                unit, unit_stop = self.unit(end)
            elif self.before == "/":
                raise self.error(at, "A fraction after a division is ambiguous", "Put the fraction in brackets")
        self.i = unit_stop
        shown = self.plain[at:unit_stop].strip()
        places = len(shown[: end - at].partition(".")[2])
        return Constant(number.exact, unit, shown, places, at)

    def scan(self, plain: str) -> tuple[Number, int]:
        try:
            return scan_number(plain, self.i)
        except NumeralError as error:
            raise self.error(error.at, error.why, error.hint) from None

    def unit(self, end: int) -> tuple[str, int]:
        """Return the longest unit after a number, and the index of its end.

        A ``/`` with spaces is a division, and ``*`` is always a multiplication: neither is part of a unit.
        """
        start = skip_space(self.plain, end)
        char = self.plain[start : start + 1]
        if not (char.isalpha() or char in ("°", "%", '"', "'")) or not char:
            return "", end
        stop = start + len(self.plain[start : unit_end(self.plain, start)].partition("*")[0].rstrip())
        if units.refusal(self.plain[start:stop]) is not None:
            raise self.unknown_unit(self.plain[start:stop], start)
        while stop > start:
            spelling = self.plain[start:stop].rstrip(" -/·.")
            loose = any(gap in spelling for gap in (" /", "/ ", " ·", "· "))
            unit = None if loose else units.find(spelling)
            if unit is not None:
                return unit.symbol, start + len(spelling)
            cut = max(spelling.rfind(mark) for mark in " -/·.")
            stop = start + cut if cut > 0 else start
        spelling = self.plain[start : unit_end(self.plain, start)]
        raise self.unknown_unit(spelling, start)

    def unknown_unit(self, spelling: str, start: int) -> FormulaError:
        refused = units.refusal(spelling)
        if refused is not None:
            return self.error(start, *refused)
        why = f"`{printable(spelling)}` is not a known unit"
        return self.error(start, why, "Write a unit such as `mm` or `N·m`; to multiply, write `*`")
