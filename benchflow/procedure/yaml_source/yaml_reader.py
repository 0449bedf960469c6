"""Reads YAML text to a tree of texts, lists and mappings with their places.

The tree is built from the events of the YAML parser. Its compiled form (libyaml) is about 20 times faster than the one
in Python. Where it finds a problem, the one in Python reads the text again: it knows YAML 1.2 and reports the better
place. Both make the same tree. Aliases, anchors, tags, directives and further documents are reported as problems.
Nesting is limited. Every scalar is kept as the text that was written, so ``00123`` keeps its zeros. The shapes
interpret the text later. Line and column count from 1, in characters.
"""

import re
from collections.abc import Callable, Iterator
from typing import Any

from msgspec import Struct

from benchflow.base.plaintext import clean, unsafe_characters
from benchflow.procedure.model import Mark
from benchflow.procedure.problems import Problem, Severity
from benchflow.procedure.yaml_source.yaml_error_text import explained_yaml_error, place_of
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar, YamlSequence, path_to

MAX_BYTES = 1024 * 1024
"""The size of the largest file that is read. A procedure of 1,000 operations needs less than half."""
MAX_DEPTH = 24
"""The deepest nesting of lists and mappings; the format needs ten."""
MAX_SCALAR = 20_000
"""The most characters in one text."""
MAX_PROBLEMS = 500
"""The most problems listed. Reading stops there, which limits the time that a hostile file can cost."""


class ProblemList:
    """The problems of one file, at most :data:`MAX_PROBLEMS`, each once."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.all: list[Problem] = []
        self._seen: set[tuple[str, int, int, str]] = set()

    def add(self, code: str, mark: Mark, message: str, hint: str = "", severity: Severity = "error") -> None:
        if (code, mark.line, mark.column, message) in self._seen:
            return
        if self.full:
            return
        self._seen.add((code, mark.line, mark.column, message))
        self.all.append(Problem(code, severity, self.file, mark.line, mark.column, message, hint))

    def keep(self, is_kept: Callable[[Problem], bool]) -> None:
        """Keep only the problems for which ``is_kept`` is true."""
        self.all = [problem for problem in self.all if is_kept(problem)]

    @property
    def full(self) -> bool:
        """True if :data:`MAX_PROBLEMS` is reached, so that reading can stop."""
        return len(self.all) >= MAX_PROBLEMS

    @property
    def any_error(self) -> bool:
        return self.full or any(problem.severity == "error" for problem in self.all)

    def listed(self, root: YamlNode | None) -> tuple[Problem, ...]:
        """All problems in the order of the file, each with its path from ``root``."""
        found = sorted(self.all, key=lambda problem: (problem.line, problem.column))
        if root is not None:
            found = [_with_path(problem, root) for problem in found]
        if self.full:
            last = found[-1]
            message = f"The file has more than {MAX_PROBLEMS} problems, so reading stopped here"
            hint = "Correct the first ones, and check again"
            found.append(Problem("too-many-problems", "error", self.file, last.line, last.column, message, hint))
        return tuple(found)


class ParsedYaml(Struct):
    """The tree of a YAML text and its problems. ``root`` is ``None`` if the text is empty or is not YAML.

    ``error_at`` is the place of a syntax error; ``root`` is then the tree of the text before it.
    """

    root: YamlNode | None
    problems: ProblemList
    error_at: Mark | None = None


def decode(data: bytes, file: str) -> tuple[str | None, ProblemList]:
    """The text of a file's bytes; ``None`` and a problem if the file is too large or not UTF-8.

    To find a file that is too large, a caller needs to read only :data:`MAX_BYTES` + 1 bytes.
    """
    problems = ProblemList(file)
    if len(data) > MAX_BYTES:
        problems.add(
            "too-large",
            Mark(),
            f"The file is larger than {MAX_BYTES // 1024} KiB, which is the limit",
            "Check that this is the right file",
        )
        return None, problems
    try:
        return data.decode("utf-8-sig"), problems
    except UnicodeDecodeError as error:
        before = data[: error.start]
        line_start = before.rfind(b"\n") + 1
        column = len(before[line_start:].decode("utf-8")) + 1
        problems.add(
            "not-utf-8",
            Mark(before.count(b"\n") + 1, column),
            "From here on the file is not UTF-8 text",
            "Save the file as UTF-8",
        )
        return None, problems


def parse(text: str, file: str) -> ParsedYaml:
    """The tree of ``text``. Never raises; problems are in the result."""
    problems = ProblemList(file)
    if len(text) > MAX_BYTES or len(text.encode("utf-8", "surrogatepass")) > MAX_BYTES:
        _, problems = decode(text.encode("utf-8", "surrogatepass"), file)
        return ParsedYaml(None, problems)
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    text = _without_directives(_without_controls(text, problems), problems)
    if not problems.all and _may_differ.search(text) is None:
        quick = parse_lines(text, ProblemList(file), compiled=True)
        if not quick.problems.all and isinstance(quick.root, YamlMapping):
            return quick
    return parse_lines(text, problems)


def parse_lines(text: str, problems: ProblemList, *, compiled: bool = False) -> ParsedYaml:
    """The tree of a text with line feeds only. ``compiled`` chooses the compiled YAML parser, if it is installed."""
    builder = _TreeBuilder(text, problems)
    return ParsedYaml(builder.build(compiled=compiled), problems, builder.error_at)


def _without_controls(text: str, problems: ProblemList) -> str:
    """Report characters that YAML does not allow, and replace each by a space, so that the rest can be read."""
    bad = {character for character in unsafe_characters(text) if not _is_allowed_in_yaml(character)}
    bad |= {character for character in "\x85\u2028\u2029" if character in text}
    if not bad:
        return text
    for number, line in enumerate(text.split("\n"), start=1):
        if problems.full:
            break
        if bad.isdisjoint(line):
            continue
        for column, character in enumerate(line, start=1):
            if character in bad:
                problems.add(
                    "control-character",
                    Mark(number, column),
                    f"A control character (U+{ord(character):04X}) is not allowed here",
                    "Delete it",
                )
    return text.translate({ord(character): " " for character in bad})


def _without_directives(text: str, problems: ProblemList) -> str:
    """Report and blank lines with ``%`` before the document, so that none can change how the rest is read."""
    if "%" not in text:
        return text
    lines = text.split("\n")
    for number, line in enumerate(lines):
        if line.startswith("%"):
            problems.add(
                "directive",
                Mark(number + 1, 1),
                f"The directive `{line.split()[0]}` is not allowed in a procedure",
                "Delete the line that begins with %",
            )
            lines[number] = ""
        elif line.strip() and not line.startswith("#"):
            break
    return "\n".join(lines)


def _is_allowed_in_yaml(character: str) -> bool:
    # YAML allows the rest of the unsafe characters; they are removed from each text with a warning.
    code = ord(character)
    return code > 0x9F and not 0xD800 <= code <= 0xDFFF and code & 0xFFFE != 0xFFFE


_may_differ = re.compile("\t|^ +$|[|>][-+0-9]*#|[\"']:[^\\s]", re.MULTILINE)
"""Tabs, lines of blanks only, ``|#``, and ``"a":1``: the two parsers do not always agree on these. The one in Python
reads them."""
_long_escape = re.compile(r"\\U([0-9A-Fa-f]{8})")


class _NestingTooDeep(Exception):
    pass


class _TreeBuilder:
    """Builds the tree from the events of one document, without recursion."""

    def __init__(self, text: str, problems: ProblemList) -> None:
        self._text = text
        self._lines = text.split("\n")
        self._problems = problems
        # Each open collection with its children so far (for a mapping: key, value, key, value ...).
        self._open: list[tuple[Any, list[YamlNode]]] = []
        self._long_quote: Any = None  # the last quoted text of several lines
        self.error_at: Mark | None = None
        """The place of a syntax error; the tree then ends there."""

    def build(self, *, compiled: bool) -> YamlNode | None:
        # Late import: a procedure from the compiled cache needs no YAML parser (benchmark bench_screen).
        from ruamel.yaml import YAML
        from ruamel.yaml.error import MarkedYAMLError, YAMLError

        root: YamlNode | None = None
        try:
            root = self._document(iter(YAML(typ="safe", pure=not compiled).parse(self._text)))
        except _NestingTooDeep:
            pass
        except MarkedYAMLError as error:
            self.error_at = self._report_bad_yaml(error)
            root = self._tree_so_far()
        except (YAMLError, ValueError, OverflowError) as error:
            self._report_bad_escape(error)
        return root

    def _document(self, events: Iterator[Any]) -> YamlNode | None:
        from ruamel.yaml import events as kinds

        root: YamlNode | None = None
        stack = self._open
        documents = 0
        for event in events:
            if self._problems.full:
                break
            if isinstance(event, kinds.DocumentStartEvent):
                documents += 1
                self._check_document(event, documents)
                if documents > 1:
                    break
                continue
            node: YamlNode
            if isinstance(event, kinds.ScalarEvent):
                self._check_properties(event)
                if event.style in ("'", '"') and event.end_mark.line > event.start_mark.line:
                    self._long_quote = event
                node = self._scalar(event)
            elif isinstance(event, kinds.AliasEvent):
                node = self._alias(event)
            elif isinstance(event, kinds.SequenceStartEvent | kinds.MappingStartEvent):
                self._check_properties(event)
                stack.append((event, []))
                self._check_depth(event, len(stack))
                continue
            elif isinstance(event, kinds.SequenceEndEvent | kinds.MappingEndEvent):
                node = self._collection(*stack.pop())
            else:
                continue
            if stack:
                stack[-1][1].append(node)
            else:
                root = node
        return root

    def _tree_so_far(self) -> YamlNode | None:
        """The tree of the text before a syntax error. A key without its value is left out."""
        node: YamlNode | None = None
        while self._open:
            event, children = self._open.pop()
            if node is not None:
                children.append(node)
            if event.__class__.__name__ == "MappingStartEvent" and len(children) % 2:
                children.pop()
            node = self._collection(event, children)
        return node

    def _check_document(self, event: Any, number: int) -> None:
        if number > 1:
            self._problems.add(
                "several-documents",
                place_of(event.start_mark),
                "A second document begins here, but a file holds only one procedure",
                "Delete the line `---`, or move the second document to another file",
            )

    def _check_properties(self, event: Any) -> None:
        if event.anchor is not None:
            self._problems.add(
                "alias",
                place_of(event.start_mark),
                f"The anchor `&{event.anchor}` is not allowed in a procedure",
                "Repeat the text where it is needed. If it is a text that begins with &, put it in quotes",
            )
        if event.tag is not None:
            self._problems.add(
                "tag",
                place_of(event.start_mark),
                f"The tag `{str(event.tag).replace('tag:yaml.org,2002:', '!!')}` is not allowed in a procedure",
                "Delete it. If it is a text that begins with !, put it in quotes",
            )

    def _check_depth(self, event: Any, depth: int) -> None:
        if depth > MAX_DEPTH:
            self._problems.add(
                "too-deep",
                place_of(event.start_mark),
                f"Lists and mappings are nested more than {MAX_DEPTH} deep, so reading stopped here",
                "Look for a missing closing bracket",
            )
            raise _NestingTooDeep

    def _alias(self, event: Any) -> YamlNode:
        mark = place_of(event.start_mark)
        self._problems.add(
            "alias",
            mark,
            f"The alias `*{event.anchor}` is not allowed in a procedure",
            "Repeat the text where it is needed. If it is a text that begins with *, put it in quotes",
        )
        return YamlScalar(f"*{event.anchor}", mark.line, mark.column, False, None, unreadable=True)

    def _scalar(self, event: Any) -> YamlScalar:
        raw: str = event.value
        mark = place_of(event.start_mark)
        if len(raw) > MAX_SCALAR:
            self._problems.add(
                "too-long",
                mark,
                f"This text has {len(raw)} characters, but at most {MAX_SCALAR} are allowed",
                "Look for a missing closing quote",
            )
            raw = raw[:MAX_SCALAR]
        out = unsafe_characters(raw)
        if out:
            names = ", ".join(f"U+{ord(character):04X}" for character in out)
            self._problems.add(
                "invisible-character",
                mark,
                f"Invisible characters were removed from this text: {names}",
                "Type the text again",
                severity="warning",
            )
        plain = not event.style  # the compiled parser gives "", the other one None
        quotes = 0 if plain else 1
        width = event.end_mark.column - event.start_mark.column
        one_line = event.start_mark.line == event.end_mark.line and event.style not in ("|", ">")
        exact = one_line and width == len(raw) + 2 * quotes and not out
        indent = self._indent(event.start_mark.line + 1, raw) if event.style == "|" and not out else None
        return YamlScalar(clean(raw), mark.line, mark.column, plain, quotes if exact else None, indent)

    def _indent(self, first: int, text: str) -> int | None:
        """The indent of the lines below a ``|`` in the file. ``first`` is the index of the first of them."""
        for raw, line in zip(self._lines[first:], text.split("\n"), strict=False):
            if line:
                return len(raw) - len(line) if raw.endswith(line) else None
        return None

    def _collection(self, event: Any, children: list[YamlNode]) -> YamlNode:
        mark = place_of(event.start_mark)
        if event.__class__.__name__ == "SequenceStartEvent":
            return YamlSequence(children, mark.line, mark.column)
        pairs: list[tuple[YamlScalar, YamlNode]] = []
        repeated: list[tuple[YamlScalar, YamlNode]] = []
        first: dict[str, YamlScalar] = {}
        for key, value in zip(children[::2], children[1::2], strict=True):
            if not isinstance(key, YamlScalar):
                self._problems.add(
                    "bad-key",
                    key.mark,
                    "A key must be a word, not a list or a mapping",
                    "If it is a text that begins with { or [, put it in quotes",
                )
            elif key.text in first:
                self._problems.add(
                    "duplicate-key",
                    key.mark,
                    f"The key `{key.text}` is already on line {first[key.text].line}",
                    "Delete one of the two",
                )
                repeated.append((key, value))
            else:
                first[key.text] = key
                if isinstance(value, YamlScalar) and value.plain and not value.text:
                    value.line, value.column = key.line, key.column  # an empty value is reported at its key
                pairs.append((key, value))
        return YamlMapping(pairs, repeated, mark.line, mark.column, bool(event.flow_style))

    def _report_bad_escape(self, error: Exception) -> None:
        """Find the place of an escape that is not a character, such as "\\UFFFFFFFF"; the parser gives none."""
        found = next((at for at in _long_escape.finditer(self._text) if int(at[1], 16) > 0x10FFFF), None)
        if found is None:
            self._problems.add(
                "bad-yaml", Mark(), f"The file is not YAML. The YAML parser reports: {error}", "Check its quotes"
            )
            return
        before = self._text[: found.start()]
        place = Mark(before.count("\n") + 1, found.start() - before.rfind("\n"))
        self._problems.add(
            "bad-yaml", place, f"`{found[0]}` is not the code of a character", "Write the character itself"
        )

    def _report_bad_yaml(self, error: Any) -> Mark:
        mark = error.problem_mark or error.context_mark
        where = place_of(mark) if mark is not None else Mark()
        line = self._lines[where.line - 1] if 0 < where.line <= len(self._lines) else ""
        quote = self._long_quote
        opened = place_of(quote.start_mark) if quote is not None and quote.end_mark.line + 1 == where.line else None
        what, hint, where = explained_yaml_error(
            str(error.problem or error.context or error), line, where, error, opened
        )
        self._problems.add("bad-yaml", where, what, hint)
        return where


def _with_path(problem: Problem, root: YamlNode) -> Problem:
    return Problem(
        problem.code,
        problem.severity,
        problem.file,
        problem.line,
        problem.column,
        problem.message,
        problem.hint,
        path_to(root, Mark(problem.line, problem.column)) if problem.line else "",
    )
