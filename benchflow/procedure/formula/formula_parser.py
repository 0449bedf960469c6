"""Parses formulas: recursive descent, with a limit on length and nesting."""

import re
from collections.abc import Container
from fractions import Fraction

from msgspec.structs import replace

from benchflow.procedure.formula.exact_functions import PI
from benchflow.procedure.formula.expression import (
    OF_ONE,
    OVER_PLACES,
    TO_STEPS,
    BinaryOperation,
    Call,
    Conditional,
    Constant,
    Expression,
    Formula,
    FormulaError,
    Function,
    NameNode,
    Negation,
    Power,
    Relation,
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

_WORD = r"[A-Za-z][A-Za-z0-9_]*(?:-+[A-Za-z0-9_]+)*"
_NAME = re.compile(rf"(?:{_WORD}\.)?{_WORD}")  # the value of a copy (`again`) is refit.end-play
_PLACE = re.compile(r"\[([^\[\]]*)\]")
_DIGIT_START = frozenset("0123456789.½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞⅒")
_FUNCTIONS: dict[str, Function] = {name: name for name in (*OVER_PLACES, *OF_ONE, *TO_STEPS)}
_RECIPROCAL_UNIT = re.compile(r" +(1/°?[KFC])(?![^\W\d_])")
_EXPONENT = re.compile(r"([+-]?)\s*(\d+)(\.\d+)?(?![\w.½⅓⅔¼¾])")
_EXPONENT_IN_BRACKETS = re.compile(r"\(\s*([+-]?)\s*(\d+)(\.\d+)?(?:\s*/\s*(\d+))?\s*\)")
_RELATION = re.compile(r"<=|>=|≤|≥|==|!=|<>|≠|<|>|=")
_RELATIONS: dict[str, Relation] = {"<": "<", "<=": "<=", "≤": "<=", ">": ">", ">=": ">=", "≥": ">=", "=": "="}

MAX_EXPONENT = 12


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
        if self.plain.startswith("**", self.i):
            return self.error(self.i, "`**` is not an operator", "Write a power as `bore^2`")
        if char == "^":
            return self.error(self.i, "It is not clear what this power is of", "Put the first power in brackets")
        if char in "²³":
            return self.error(self.i, "A raised number is not possible after a value", "Write a power as `bore^2`")
        if _RELATION.match(self.plain, self.i):
            hint = "Write `if(a > b, x, y)`, with one comparison"
            return self.error(self.i, f"`{char}` is possible only in the comparison of an `if`", hint)
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
            return self.power()
        at, self.i = self.i, self.i + 1
        self.check_nesting()
        of = self.signed()
        self.depth -= 1
        return Negation(of, at) if char == "-" else of

    def power(self) -> Expression:
        self.peek()
        start = self.i
        of = self.atom()
        if self.peek() != "^":
            return of
        at, self.i = self.i, self.i + 1
        if isinstance(of, Constant) and of.unit and self.plain[start : start + 1] != "(":
            why = f"It is not clear if `{self.plain[start:at].strip()}` is to be raised, or only its unit"
            raise self.error(at, why, f"Write `({self.plain[start:at].strip()})^2`")
        return Power(of, self.exponent(), at)

    def exponent(self) -> Fraction:
        """The number after ``^``. A fraction needs brackets: ``a^2/3`` is a third of a²."""
        self.peek()
        start = self.i
        match = _EXPONENT.match(self.plain, start) or _EXPONENT_IN_BRACKETS.match(self.plain, start)
        if match is None:
            hint = "Write a whole or half number, such as `^2`, `^0.5`, `^(1/2)` or `^(-1)`"
            raise self.error(start, "The exponent has to be a number", hint)
        sign, whole, decimals = match.group(1, 2, 3)
        divisor = int(match.group(4) or 1) if match.re is _EXPONENT_IN_BRACKETS else 1
        if not divisor:
            raise self.error(start, "The exponent divides by zero")
        exponent = Fraction(f"{sign}{whole}{decimals or ''}") / divisor
        if exponent.denominator > 2 or abs(exponent) > MAX_EXPONENT:
            why = f"The exponent has to be a whole or half number from -{MAX_EXPONENT} to {MAX_EXPONENT}"
            raise self.error(start, why)
        self.i = match.end()
        if exponent == 1 and self.peek() == "/":
            raise self.error(start, "It is not clear what the exponent is", "Write `^(1/2)`, or `a / 2`")
        if self.peek() == "^":
            raise self.unexpected("^")
        return exponent

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
        if word == "pi" and self.plain[match.end() : match.end() + 1] != "[":
            self.i = match.end()
            return Constant(PI, "", word, 0, at, rounded=True)
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
        if word == "before":
            return self.round_before(at)
        if word == "if":
            return self.conditional(at)
        function = _FUNCTIONS.get(word)
        if function is None:
            known = ", ".join((*_FUNCTIONS, "if", "before"))
            raise self.error(at, f"There is no function `{printable(word)}`", f"The functions are {known}")
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
        if function in TO_STEPS and len(arguments) != 2:
            raise self.error(at, f"`{word}` takes a value and a step", f"Write it like `{word}(gap, 0.05 mm)`")
        return Call(function, tuple(arguments), at)

    def round_before(self, at: int) -> Expression:
        """``before(name)``: the value of the round before."""
        opened, self.i = self.i, self.i + 1
        self.check_nesting()
        self.peek()
        match = _NAME.match(self.plain, self.i)
        named = None if match is None else self.named(match)
        if not isinstance(named, NameNode) or self.peek() != ")" or named.before:
            raise self.error(opened, "`before` takes the name of one value", "Write it like `before(gap)`")
        self.close(opened)
        return replace(named, before=True, at=at)

    def conditional(self, at: int) -> Expression:
        """``if(a > b, x, y)``."""
        opened, self.i = self.i, self.i + 1
        self.check_nesting()
        left, relation = self.sum(), self.relation()
        right = self.sum()
        if (char := self.peek()) and _RELATION.match(char):
            raise self.error(self.i, "An `if` has one comparison", "Put another `if` in it")
        then, otherwise = self.result_of_if(), self.result_of_if()
        if self.peek() == ",":
            raise self.error(self.i, "An `if` has a comparison and two results", "Put another `if` in the second one")
        self.close(opened)
        return Conditional(relation, left, right, then, otherwise, at)

    def result_of_if(self) -> Expression:
        if self.peek() != ",":
            hint = "Write `if(a > b, x, y)`: x if a is above b, otherwise y"
            raise self.error(self.i, "An `if` has a comparison and two results", hint)
        self.i += 1
        return self.sum()

    def relation(self) -> Relation:
        self.peek()
        match = _RELATION.match(self.plain, self.i)
        relation = None if match is None else _RELATIONS.get(match.group())
        if match is None or relation is None:
            raise self.error(self.i, "A comparison is missing here", "Write `<`, `<=`, `>`, `>=` or `=`")
        self.i = match.end()
        return relation

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
            hint = error.hint
            if self.depth and self.plain[error.at : error.at + 1] == ",":
                hint = f"{hint}, or put a space after the comma between two values"
            raise self.error(error.at, error.why, hint) from None

    def unit(self, end: int) -> tuple[str, int]:
        """Return the longest unit after a number, and the index of its end.

        A ``/`` with spaces is a division, and ``*`` is always a multiplication: neither is part of a unit.
        """
        reciprocal = _RECIPROCAL_UNIT.match(self.plain, end)
        if reciprocal is not None:  # 0.000012 1/K
            found = units.find(reciprocal.group(1))
            if found is not None:
                return found.symbol, reciprocal.end()
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
