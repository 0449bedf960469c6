"""What the YAML reader complains of, in the words of a mechanic, with the place to look at."""

from typing import Any

from benchflow.procedure.model import Mark


def in_plain_words(problem: str, line: str, where: Mark, error: Any, quote: Mark | None) -> tuple[str, str, Mark]:
    """The YAML reader's complaint as a mechanic would put it: what, hint, and the place to look at.

    ``quote`` is where a text in quotes began on an earlier line that ends on this one.
    """
    at = line[where.column - 1 : where.column]
    before = line[: where.column - 1]
    if at == "\t" or "\\t" in problem:
        return "a tab where only spaces may stand", "indent with spaces", where
    if "mapping values are not allowed" in problem:
        return (
            "a colon and a space inside a text, where no new key can begin",
            "put the text in quotes, or check the indent of this line",
            where,
        )
    if "scanning an alias" in str(error.context) or "scanning an anchor" in str(error.context):
        if "[" in before:
            return "`*` cannot stand here", 'inside [...] a name such as seat[*] needs quotes: ["seat[*]"]', where
        return "`*` and `&` cannot begin a text", "put the text in quotes", where
    if "quoted scalar" in str(error.context):
        start = place_of(error.context_mark) if error.context_mark is not None else where
        return "the quote that opens here is not closed", "close it, or double it inside the text", start
    if quote is not None:
        return (
            f"the text in quotes that opens here goes on to line {where.line}, and what follows it there is amiss",
            "close the quote where the text ends",
            quote,
        )
    if at in ("@", "`", "%"):
        return f"`{at}` cannot begin a text", "put the text in quotes", where
    if "expected ',' or" in problem or "expected the node content" in problem:
        return (
            f"the list or mapping in brackets goes wrong here: {problem}",
            "look for a comma or a bracket that is missing; names with brackets need quotes",
            where,
        )
    if "could not find expected ':'" in problem:
        return "this line is no key with a colon, and goes on with nothing", "check its indent, or the `:`", where
    if "expected <block end>" in problem:
        return (
            "this does not go with what stands before it",
            "check the indent; a text that begins with { [ or a quote needs quotes round the whole of it",
            where,
        )
    return f"this is no YAML: {problem}", "check the indent, brackets and quotes around here", where


def place_of(mark: Any) -> Mark:
    return Mark(mark.line + 1, mark.column + 1)
