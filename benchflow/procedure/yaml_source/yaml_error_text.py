"""Errors of the YAML parser in plain words, with the place to look at."""

from typing import Any

from benchflow.procedure.model import Mark


def explained_yaml_error(problem: str, line: str, where: Mark, error: Any, quote: Mark | None) -> tuple[str, str, Mark]:
    """Return message, hint and place for an error of the YAML parser.

    ``problem`` is the parser's message, ``line`` the line of the error and ``where`` its place. ``quote`` is the start
    of a quoted text that ends on the line before; ``None`` if there is none.
    """
    at = line[where.column - 1 : where.column]
    before = line[: where.column - 1]
    if at == "\t" or "\\t" in problem:
        return "A tab is used for the indent", "Use spaces", where
    if "mapping values are not allowed" in problem:
        return (
            "A colon followed by a space begins a key, which is not possible here",
            "Put the text in quotes, or check the indent of this line",
            where,
        )
    if "scanning an alias" in str(error.context) or "scanning an anchor" in str(error.context):
        if "[" in before:
            return (
                "`*` is not possible here",
                'Inside [...] put quotes around a name such as seat[*], as in `["seat[*]"]`',
                where,
            )
        return "`*` and `&` cannot begin a text", "Put the text in quotes", where
    if "quoted scalar" in str(error.context):
        start = place_of(error.context_mark) if error.context_mark is not None else where
        return "This quote is not closed", "Close it. To write a quote inside the text, write it twice", start
    if quote is not None:
        return (
            f"The quoted text that begins here does not end before line {where.line}",
            "Close the quote where the text ends",
            quote,
        )
    if at in ("@", "`", "%"):
        return f"`{at}` cannot begin a text", "Put the text in quotes", where
    if "expected ',' or" in problem or "expected the node content" in problem:
        return (
            f"This list or mapping in brackets is wrong. The YAML parser reports: {problem}",
            "Look for a missing comma or bracket, and put quotes around names with brackets",
            where,
        )
    if "could not find expected ':'" in problem:
        return "This line is neither a key with a colon nor part of a text", "Check its indent and its `:`", where
    if "expected <block end>" in problem:
        return (
            "This line does not fit the lines before it",
            "Check its indent. If a text begins with {, [ or a quote, put quotes around the whole text",
            where,
        )
    return (
        f"This line is not YAML. The YAML parser reports: {problem}",
        "Check the indent, brackets and quotes here",
        where,
    )


def place_of(mark: Any) -> Mark:
    """A place of the YAML parser, which counts from 0, as a mark."""
    return Mark(mark.line + 1, mark.column + 1)
