"""Finds checks that a comma has split: in a list in brackets, a comma begins a new item."""

from collections.abc import Iterator
from itertools import pairwise

from benchflow.procedure.model import Procedure
from benchflow.procedure.problems import Problem


def split_checks(procedure: Procedure, file: str) -> Iterator[Problem]:
    """A note for each check that begins with a small letter after another one on the same line."""
    for operation in procedure.operations:
        for before, point in pairwise(operation.check):
            same_line = before.mark.line == point.mark.line > 0
            if same_line and point.text[:1].islower() and not before.text[:1].islower():
                yield Problem(
                    "split-check",
                    "note",
                    file,
                    point.mark.line,
                    point.mark.column,
                    f"`{point.text}` is a check of its own, because a comma in brackets begins a new item",
                    f'If both are one check, put it in quotes: `"{before.text}, {point.text}"`',
                    f"{operation.id}.check",
                )
