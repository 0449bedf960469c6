"""Puts a scanned code into an entry line as its bag."""

from benchflow.session.teardown.entry_line import CONTAINERS


def with_scanned_code(text: str, code: str) -> str:
    """``text`` ends with the ``code`` that a scanner typed. Returns it with the code as a segment of its own.

    An empty text becomes ``, bag CODE``, which adds the bag to the newest line.
    """
    before = text[: len(text) - len(code)].rstrip(" ,")
    has_word = before.casefold().endswith(CONTAINERS) or code.casefold().startswith(CONTAINERS)
    if before.casefold().endswith(CONTAINERS):
        return f"{before} {code}"
    return f"{before}, {code if has_word else f'bag {code}'}"
