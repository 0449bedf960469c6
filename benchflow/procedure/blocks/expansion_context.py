"""What the expansion of one use of a block takes from the procedure, and what it gives back."""

from typing import Protocol

from msgspec import Struct

from benchflow.procedure.blocks.block_file import Block
from benchflow.procedure.blocks.block_keys import WrittenParameter, WrittenUse
from benchflow.procedure.model import Mark
from benchflow.procedure.problems import Severity
from benchflow.procedure.yaml_source.yaml_nodes import UseSite, YamlNode


class ExpansionTooLarge(Exception):
    """The written-out text of a procedure would be larger than the program reads."""


class ExpandedOperation(Struct):
    """An operation of a block, written out. ``local_id`` is its id in the block, without the new name."""

    local_id: str
    node: YamlNode


class SetupPart(Struct, frozen=True):
    """The entries of one top-level key that a use of a block brings."""

    key: str
    node: YamlNode
    block: str
    site: UseSite


class ExpandedUse(Struct):
    """A use of a block, written out."""

    operations: list[ExpandedOperation]
    setup: list[SetupPart]


class ExpansionContext(Protocol):
    """What the expansion of a use needs from the procedure: blocks by id, reports of problems, counts and records."""

    def block_of(self, use: WrittenUse, site: UseSite) -> Block | None:
        """The block that a use names; ``None``, with a report, if there is none."""
        ...

    def report(
        self, code: str, site: UseSite | None, file: str, mark: Mark, message: str, hint: str = "",
        severity: Severity = "error",
    ) -> None:  # fmt: skip
        """Report a problem at ``mark`` of ``file``: of the author's file if ``site`` is ``None``, else of a block."""
        ...

    def name_given(self, parameter: WrittenParameter, node: YamlNode, block: str) -> None:
        """Record a name that is given to a block. It is checked when all names are known."""
        ...

    def use_made(self, chain: list[str], use: WrittenUse, site: UseSite) -> None:
        """Record a use. ``chain`` are the blocks from the outermost one to this one."""
        ...

    def suggest(self, placeholder: str, block: Block, mark: Mark) -> None:
        """Record a placeholder in a block that is not a parameter, if its name is similar to that of one.

        It can be a place, so it is no error by itself. The hint is given if the reader finds an error there.
        """
        ...

    def count_node(self, nodes: int = 1) -> None:
        """Count nodes that are written out.

        Raises:
            ExpansionTooLarge: there are too many.
        """
        ...

    def count_use(self) -> None:
        """Count a use of a block.

        Raises:
            ExpansionTooLarge: there are too many.
        """
        ...


class SilentContext:
    """A context without reports and records, to collect the names of a block that is expanded later."""

    def __init__(self, context: ExpansionContext) -> None:
        self._context = context.inner if isinstance(context, SilentContext) else context

    @property
    def inner(self) -> ExpansionContext:
        """The context that reports."""
        return self._context

    def block_of(self, use: WrittenUse, site: UseSite) -> Block | None:
        return self._context.block_of(use, site)

    def report(self, *_: object, **__: object) -> None:
        return

    def name_given(self, parameter: WrittenParameter, node: YamlNode, block: str) -> None:
        return

    def use_made(self, chain: list[str], use: WrittenUse, site: UseSite) -> None:
        return

    def suggest(self, placeholder: str, block: Block, mark: Mark) -> None:
        return

    def count_node(self, nodes: int = 1) -> None:
        self._context.count_node(nodes)

    def count_use(self) -> None:
        self._context.count_use()
