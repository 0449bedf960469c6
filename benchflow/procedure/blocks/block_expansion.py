"""Expands all blocks of a procedure and writes the procedure out."""

from msgspec import Struct

from benchflow.base.plaintext import sentence
from benchflow.procedure.blocks.block_file import Block
from benchflow.procedure.blocks.block_folder import FOLDER_NAMES, UsedBlock
from benchflow.procedure.blocks.block_keys import USE_ITEM, WrittenParameter, WrittenUse, use_items, use_mapping
from benchflow.procedure.blocks.block_library import BlockEntry, BlockLibrary
from benchflow.procedure.blocks.block_use import scope_of
from benchflow.procedure.blocks.defined_names import defined_names
from benchflow.procedure.blocks.expansion_context import ExpansionTooLarge, SetupPart
from benchflow.procedure.blocks.setup_merging import merge_setup
from benchflow.procedure.blocks.source_map import SourceMap
from benchflow.procedure.blocks.tree_writer import is_within_limits, write_tree
from benchflow.procedure.model import Mark
from benchflow.procedure.problems import Problem, Severity, hint_for, nearest
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.yaml_source.yaml_nodes import (
    UseSite,
    YamlMapping,
    YamlNode,
    YamlScalar,
    YamlSequence,
    child_of,
)
from benchflow.procedure.yaml_source.yaml_reader import MAX_BYTES, ProblemList, parse

MOST_NODES = 200_000
"""The largest number of nodes that the blocks of one procedure may write out."""
MOST_USES = 20_000
"""The largest number of uses of blocks. A use inside a block counts each time that block is used."""


class RecordedUse(Struct, frozen=True):
    """A use of a block. ``chain`` has the ids of the blocks from the outermost one to this one.

    ``line`` is the line in the author's file. ``file`` and ``line_in_file`` say where this use itself is written.
    """

    chain: tuple[str, ...]
    line: int
    file: str
    line_in_file: int
    prefix: str = ""


class Expansion(Struct, frozen=True):
    """A procedure with blocks, written out. ``text`` is "" if it cannot be written out.

    ``problems`` are those of the blocks and their uses, at the author's lines. ``failed`` are the places of the uses
    that have an error.

    ``tree`` is what the YAML reader makes of ``text``. ``is_complete`` is false if a block is missing from it: a name
    that looks undefined may then be defined in that block.

    ``suggestions`` are hints about placeholders that are not parameters, by the file and line in the block.
    """

    text: str
    source_map: SourceMap
    blocks: tuple[UsedBlock, ...]
    problems: tuple[Problem, ...]
    failed: frozenset[Mark] = frozenset()
    uses: "tuple[RecordedUse, ...]" = ()
    tree: YamlMapping | None = None
    is_complete: bool = True
    suggestions: "dict[str, str]" = {}

    @property
    def any_error(self) -> bool:
        """True if a block or a use of one has an error."""
        return any(problem.severity == "error" for problem in self.problems)


def expand_blocks(text: str, file: str, library: BlockLibrary) -> Expansion | None:
    """Expand the blocks of a procedure. ``None`` if it uses none, or if it is not YAML (the reader reports that)."""
    source = parse(text, file)
    if source.root is None or source.error_at is not None or not uses_blocks(source.root):
        return None
    assert isinstance(source.root, YamlMapping)
    return expand_tree(source.root, source.problems, file, library)


def expand_tree(
    root: YamlMapping, problems: ProblemList, file: str, library: BlockLibrary, *, is_example: bool = False
) -> Expansion:
    """Expand the blocks of a parsed procedure. ``root`` is changed in place.

    With ``is_example``, the names that are given to blocks need not be defined.
    """
    return _ProcedureExpansion(root, problems, file, library, is_example).expansion()


def place_in_block(file: str, line: int) -> str:
    """A place in a block file: ``blocks/studs.yaml:12``; its first line if the whole file is meant."""
    return f"{file}:{max(line, 1)}"


def uses_blocks(root: YamlNode) -> bool:
    """True if a procedure uses a block."""
    return child_of(root, "use") is not None or any(
        child_of(operation, "use") is not None for operations in operation_lists(root) for operation in operations.items
    )


def operation_lists(root: YamlNode) -> list[YamlSequence]:
    """The lists of operations of all sections of a procedure, or that of a block."""
    sections = child_of(root, "sections")
    holders = sections.items if isinstance(sections, YamlSequence) else []
    lists = [child_of(section, "operations") for section in [root, *holders]]
    return [found for found in lists if isinstance(found, YamlSequence)]


class _ProcedureExpansion:
    """The expansion of one procedure. It is the :class:`ExpansionContext` of all its uses of blocks."""

    def __init__(
        self, root: YamlMapping, problems: ProblemList, file: str, library: BlockLibrary, is_example: bool
    ) -> None:
        self._is_example = is_example
        self._root, self._problems, self._file, self._library = root, problems, file, library
        self._reported: list[Problem] = []
        self._used: dict[str, UsedBlock] = {}
        self._chosen: dict[str, Block | None] = {}
        self._noted_version = False
        self._nodes = self._uses = 0
        self._setup: list[SetupPart] = []
        self._names: list[tuple[WrittenParameter, YamlNode, str]] = []
        self._present = UseSite(file, 1, 1)
        self._failed: set[Mark] = set()
        self._is_complete = True
        self._recorded: list[RecordedUse] = []
        self._suggestions: dict[str, str] = {}

    def expansion(self) -> Expansion:
        """The procedure written out, with its problems."""
        try:
            self._expand_all()
            text, places, written = write_tree(self._root)
            tree = written if is_within_limits(written) else None  # the YAML reader then says what is too large
            if len(text.encode("utf-8", "surrogatepass")) > MAX_BYTES:
                raise ExpansionTooLarge
        except ExpansionTooLarge:
            at = Mark(self._present.line, self._present.column)
            message = "The procedure is too large with its blocks written out, so the expansion stopped here"
            hint = "Remove some of the blocks that are used inside other blocks"
            self.report("too-large", None, "", at, message, hint)
            text, places, tree = "", SourceMap(()), None
        problems = [*self._problems.listed(self._root), *dict.fromkeys(self._reported)]
        problems.sort(key=lambda problem: (problem.line, problem.column))
        return Expansion(text, places, tuple(self._used.values()), tuple(problems), frozenset(self._failed),
                         tuple(dict.fromkeys(self._recorded)), tree, self._is_complete, self._suggestions)  # fmt: skip

    def _expand_all(self) -> None:
        lists = operation_lists(self._root)
        for node in use_items(child_of(self._root, "use")):
            operations = self._expanded(node)
            if operations:
                message = "This block has operations, so it belongs in a section"
                self.report("wrong-kind", None, "", node.mark, message, "Write `- use: ...` under `operations`")
        self._root.pairs = [pair for pair in self._root.pairs if pair[0].text != "use"]
        for operations_node in lists:
            items: list[YamlNode] = []
            for node in operations_node.items:
                items += [node] if child_of(node, "use") is None else self._expanded(node)
            operations_node.items = items
        merge_setup(self._root, self._setup, self)
        self._check_names()

    def _check_names(self) -> None:
        """Report names that are given to blocks, but that the procedure does not define."""
        if not self._is_complete or self._is_example:
            return  # the missing block may define them
        defined = defined_names(self._root)
        for parameter, node, block in self._names:
            items = node.items if isinstance(node, YamlSequence) else [node]
            for item in items:
                if isinstance(item, YamlScalar):
                    self._check_name(parameter, item, block, defined[parameter.kind])

    def _check_name(self, parameter: WrittenParameter, node: YamlScalar, block: str, known: list[str]) -> None:
        name = node.text.strip().partition("[")[0]
        if name in known or name.rpartition(".")[2] in known:
            return
        origin = node.origin
        site, file = (None, "") if origin is None or origin.site is None else (origin.site, origin.file)
        kind = "set of places" if parameter.kind == "places" else parameter.kind
        message = f"There is no {kind} `{name}` (parameter `{parameter.name}` of the block `{block}`)"
        hint = hint_for(name, known, f"The procedure defines no {kind}")
        self.report("unknown-name", site, file, node.mark, message, hint)

    def _expanded(self, node: YamlNode) -> list[YamlNode]:
        """The operations of one use. Its set-up is added to the procedure at the end."""
        mapping = use_mapping(node)
        problems = ProblemList(self._file)
        use = USE_ITEM.read(node if mapping is None else mapping, ReadContext(problems))
        self._reported += problems.all
        if use is None or not use.block:
            return []
        self._present = UseSite(self._file, use.mark.line, use.mark.column)
        if not use.with_is_read:
            self._failed.add(use.mark)
        scope = scope_of(use, self._present, None, self)
        if scope is None:
            self._is_complete = False
            return []
        found = scope.expanded()
        if not found.operations and scope.block.operations and use.mark not in self._failed:
            message = f"The block `{use.block}` has no operation here: all are left out by `given` or `unless`"
            hint = "Give it the parameters that its operations need, or delete this use"
            self.report("unused", None, "", use.mark, message, hint, "warning")
        self._setup += found.setup
        return [operation.node for operation in found.operations]

    def use_made(self, chain: list[str], use: WrittenUse, site: UseSite) -> None:
        self._recorded.append(RecordedUse(tuple(chain), site.outermost.line, site.file, site.line, use.prefix))

    def suggest(self, placeholder: str, block: Block, mark: Mark) -> None:
        known = nearest(placeholder, block.takes)
        if known is not None:
            hint = f"The block `{block.id}` has no parameter `{placeholder[:40]}`. Did you mean `{{{known}}}`?"
            self._suggestions[f"{block.file}:{mark.line}"] = hint

    def name_given(self, parameter: WrittenParameter, node: YamlNode, block: str) -> None:
        self._names.append((parameter, node, block))

    # --- the context of a use ---------------------------------------------------------------------------

    def count_node(self, nodes: int = 1) -> None:
        self._nodes += nodes
        if self._nodes > MOST_NODES:
            raise ExpansionTooLarge

    def count_use(self) -> None:
        self._uses += 1
        if self._uses > MOST_USES:
            raise ExpansionTooLarge

    def report(
        self, code: str, site: UseSite | None, file: str, mark: Mark, message: str, hint: str = "",
        severity: Severity = "error",
    ) -> None:  # fmt: skip
        """Report a problem at ``mark`` of ``file``: of the author's file if ``site`` is ``None``, else of a block."""
        where, block = mark, ""
        if site is not None:
            where, block = Mark(site.outermost.line, site.outermost.column), place_in_block(file, mark.line)
        self._is_complete = self._is_complete and code != "block-cycle"
        if severity == "error":
            self._failed.add(Mark(self._present.line, self._present.column))
        self._reported.append(Problem(code, severity, self._file, where.line, where.column, message, hint, block=block))

    def block_of(self, use: WrittenUse, site: UseSite) -> Block | None:
        if use.block not in self._chosen:
            self._chosen[use.block] = self._chosen_block(use, site)
        block = self._chosen[use.block]
        self._is_complete = self._is_complete and block is not None and block.written is not None
        if block is not None and block.written is None:
            self._report_bad_block(block, use, site)
        return block

    def _chosen_block(self, use: WrittenUse, site: UseSite) -> Block | None:
        outer = site.outer
        file = "" if outer is None else site.file
        entries = self._library.entries_of(use.block)
        if not entries:
            known = self._library.ids
            folders = ", ".join(str(folder.path) for folder in self._library.folders) or "none"
            hint = hint_for(use.block, known) or f"Folders of blocks: {folders}. List them with: benchflow blocks"
            self.report("unknown-name", outer, file, use.mark, f"There is no block `{use.block[:60]}`", hint)
            return None
        if entries[0].data is None:
            message = f"The block {entries[0].path} cannot be read: {entries[0].error}"
            self.report("unknown-name", outer, file, use.mark, message, "Correct the file, or remove it")
            return None
        block = self._library.read(entries[0])
        if block.id in self._library.other_version and not self._noted_version:
            self._noted_version = True
            count = len(self._library.other_version)
            message = (
                f"The folder {entries[0].path.parent} is a copy of the shipped blocks of another version: {count} of "
                "them differ"
            )
            hint = "They are used instead of the shipped ones. To use those, remove the ones that you did not change"
            self.report("block-replaced", outer, file, use.mark, message, hint, "note")
        self._check_replaced(block, entries, use, site)
        self._used[block.id] = UsedBlock(block.id, block.sha256, block.file, entries[0].kind)
        return block

    def _check_replaced(self, block: Block, entries: list[BlockEntry], use: WrittenUse, site: UseSite) -> None:
        if len(entries) == 1 or block.written is None:
            return
        outer, file = site.outer, "" if site.outer is None else site.file
        this, other = entries[0], entries[1]
        if block.written.replaces == block.id:
            others = " and the one ".join(FOLDER_NAMES[each.kind] for each in entries[1:])
            message = f"The block `{block.id}` {FOLDER_NAMES[this.kind]} replaces the one {others}"
            self.report("block-replaced", outer, file, use.mark, f"{message}: {this.path}", "", "note")
            return
        message = f"There are two blocks `{block.id}` that differ: {this.path} and {other.path}"
        hint = f"Rename one of them, or write `replaces: {block.id}` in {this.path}"
        self.report("block-conflict", outer, file, use.mark, message, hint)

    def _report_bad_block(self, block: Block, use: WrittenUse, site: UseSite) -> None:
        first = site.outermost
        for problem in block.problems:
            if problem.severity == "error":
                self._failed.add(Mark(first.line, first.column))
                message = f"The block `{block.id}` has an error. {sentence(problem.message)}"
                self._reported.append(
                    Problem(problem.code, "error", self._file, first.line, first.column, message, problem.hint,
                            block=place_in_block(block.file, problem.line))
                )  # fmt: skip
