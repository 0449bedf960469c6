"""Errors of the YAML parser in plain words, with the place to look at."""

from typing import Any

from benchflow.procedure.model import Mark


def explained_yaml_error(problem: str, line: str, where: Mark, error: Any, quote: Mark | None) -> tuple[str, str, Mark]:
    """Message, hint and place for an error of the YAML parser.

    ``problem`` is the parser's message, ``line`` the line of the error and ``where`` its place. ``quote`` is the start
    of a quoted text that ends on the line before; ``None`` if there is none.
    """
    at = line[where.column - 1 : where.column]
    before = line[: where.column - 1]
    if at == "\t" or "\\t" in problem:
        return "a tab is used for the indent", "use spaces", where
    if "mapping values are not allowed" in problem:
        return (
            "a colon followed by a space begins a key, which is not possible here",
            "put the text in quotes, or check the indent of this line",
            where,
        )
    if "scanning an alias" in str(error.context) or "scanning an anchor" in str(error.context):
        if "[" in before:
            return "`*` is not possible here", 'inside [...] a name such as seat[*] needs quotes: ["seat[*]"]', where
        return "`*` and `&` cannot begin a text", "put the text in quotes", where
    if "quoted scalar" in str(error.context):
        start = place_of(error.context_mark) if error.context_mark is not None else where
        return "this quote is not closed", "close it; inside a quoted text, write the quote twice", start
    if quote is not None:
        return (
            f"the quoted text that begins here does not end before line {where.line}",
            "close the quote where the text ends",
            quote,
        )
    if at in ("@", "`", "%"):
        return f"`{at}` cannot begin a text", "put the text in quotes", where
    if "expected ',' or" in problem or "expected the node content" in problem:
        return (
            f"this list or mapping in brackets has an error: {problem}",
            "look for a missing comma or bracket; names with brackets need quotes",
            where,
        )
    if "could not find expected ':'" in problem:
        return "this line is neither a key with a colon nor part of a text", "check its indent and its `:`", where
    if "expected <block end>" in problem:
        return (
            "this does not fit the lines before it",
            "check the indent; put quotes around the whole of a text that begins with { [ or a quote",
            where,
        )
    return f"this is not YAML: {problem}", "check the indent, brackets and quotes near this place", where


def place_of(mark: Any) -> Mark:
    """A place of the YAML parser, which counts from 0, as a mark."""
    return Mark(mark.line + 1, mark.column + 1)
