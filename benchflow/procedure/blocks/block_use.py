"""Expands one use of a block: its operations with the given values, and the set-up that it adds."""

from collections.abc import Callable, Mapping

from benchflow.procedure.blocks.block_file import Block
from benchflow.procedure.blocks.block_keys import (
    NAME_KINDS,
    USE_ITEM,
    WrittenUse,
    is_none,
    use_items,
    use_mapping,
)
from benchflow.procedure.blocks.expansion_context import (
    ExpandedOperation,
    ExpandedUse,
    ExpansionContext,
    SetupPart,
    SilentContext,
)
from benchflow.procedure.blocks.name_roles import OPERATION_ROLES, PLAIN, SETUP_ROLES
from benchflow.procedure.blocks.parameter_kinds import Argument, argument, noun_of
from benchflow.procedure.blocks.placeholder_filling import Filling
from benchflow.procedure.model import Mark
from benchflow.procedure.problems import Problem, hint_for
from benchflow.procedure.shapes.basic_shapes import MERGE
from benchflow.procedure.shapes.shape_base import ReadContext
from benchflow.procedure.yaml_source.yaml_nodes import (
    UseSite,
    YamlMapping,
    YamlNode,
    YamlScalar,
    YamlSequence,
    child_of,
)
from benchflow.procedure.yaml_source.yaml_reader import ProblemList

MOST_DEPTH = 12
"""The longest chain of blocks that use each other."""


class BlockScope:
    """One use of one block. ``outer`` is the use of the block in which this use is written."""

    def __init__(
        self, block: Block, use: WrittenUse, site: UseSite, outer: "BlockScope | None", context: ExpansionContext
    ):
        self.block, self.use, self.site, self.outer, self._context = block, use, site, outer, context
        self._with_names: Filling | None = None  # ``None`` until the names are collected
        self.given = self._bound()
        self.own: dict[str, None] = {}
        self.named_by_caller: dict[str, None] = {}  # parameters whose value becomes a whole id
        plain = self._filling(lambda name: name)
        for node in self.block.operations:
            self._collect_names(node, plain)
        self._check_renames()
        self._with_names = self._filling(self.final_name)

    @property
    def chain(self) -> list[str]:
        """The ids of the blocks from the outermost use to this one."""
        return [*(self.outer.chain if self.outer else ()), self.block.id]

    # --- parameters ---------------------------------------------------------------------------------

    def _bound(self) -> dict[str, Argument]:
        takes = self.block.takes
        for name, mark in self.use.given_marks.items():
            if name not in takes and name != MERGE:
                hint = hint_for(name, takes, "The block has no parameters")
                self._at_caller("unknown-key", mark, f"The block `{self.block.id}` has no parameter `{name}`", hint)
        bound: dict[str, Argument] = {}
        for name, parameter in takes.items():
            node = self._given_node(name)
            if node is not None and is_none(node) and parameter.may_be_left_out:
                bound[name] = Argument(parameter, None)
                continue
            mark = self.use.given_marks.get(name, self.use.mark)
            if node is not None:
                found, problems = argument(parameter, node)
                for problem in problems:
                    self._report_about_value(problem, node, name)
                written_here = node.origin is None or node.origin.site is None  # in a block it may be a new name
                if parameter.kind in NAME_KINDS and not problems and written_here:
                    self._context.name_given(parameter, node, self.block.id)
                bound[name] = found
                continue
            if parameter.default is None and self.use.with_is_read:
                what = f"`{name}`: {noun_of(parameter)}"
                message = f"The block `{self.block.id}` needs the parameter {what} ({parameter.text.rstrip('.?')})"
                self._at_caller("missing-key", mark, message, f"Add `{name}` under `with`")
            bound[name] = self._default_of(name, bound)
        return bound

    def _given_node(self, name: str) -> YamlNode | None:
        node = self.use.given.get(name)
        if node is None or self.outer is None:
            return node
        return self.outer.filled(node)

    def filled(self, node: YamlNode) -> YamlNode | None:
        """A node under `with` in this block, filled in. The block that it is given to renames its names later."""
        return self._filling_now().filled(node, PLAIN)

    def _filling_now(self) -> Filling:
        return self._with_names or self._filling(lambda name: name)

    def _default_of(self, name: str, bound: Mapping[str, Argument]) -> Argument:
        parameter = self.block.takes[name]
        node = parameter.default
        if node is None or is_none(node):
            return Argument(parameter, None)
        filling = self._filling(lambda each: each, bound)
        filled = filling.filled(node, PLAIN)
        if filled is None:
            return Argument(parameter, None)
        found, problems = argument(parameter, filled)
        for problem in problems:
            self._report(problem.code, Mark(problem.line, problem.column), f"The default of `{name}` does not fit: "
                         f"{problem.message}", problem.hint)  # fmt: skip
        return found

    def _report_about_value(self, problem: Problem, node: YamlNode, name: str) -> None:
        """Report a problem of a given value at the place where it is written."""
        message = f"{problem.message} (parameter `{name}` of the block `{self.block.id}`)"
        origin = node.origin
        site = None if origin is None else origin.site
        file = "" if origin is None else origin.file
        self._context.report(problem.code, site, file, Mark(problem.line, problem.column), message, problem.hint)

    def _at_caller(self, code: str, mark: Mark, message: str, hint: str) -> None:
        """Report a problem in the use itself."""
        outer = self.outer
        self._context.report(code, None if outer is None else outer.site, self.site.file, mark, message, hint)

    def _report(self, code: str, mark: Mark, message: str, hint: str) -> None:
        """Report a problem in the block."""
        self._context.report(code, self.site, self.block.file, mark, message, hint)

    def _filling(self, rename: Callable[[str], str], given: Mapping[str, Argument] | None = None) -> Filling:
        return Filling(
            self.block.file,
            self.site,
            self.given if given is None else given,
            rename,
            self._report,
            self._context.count_node,
            self._rename_at,
            lambda name, mark: self._context.suggest(name, self.block, mark),
        )

    def _rename_at(self, site: UseSite) -> Callable[[str], str]:
        """The function that gives the final names of the block at ``site``: this one, or an outer one."""
        scope: BlockScope | None = self
        while scope is not None and scope.site != site:
            scope = scope.outer
        return (lambda name: name) if scope is None or scope._with_names is None else scope.final_name

    # --- names --------------------------------------------------------------------------------------

    def final_name(self, name: str) -> str:
        """The name in the procedure of a name in this block."""
        if name not in self.own:
            return name
        new = self.local_rename(name)
        return new if self.outer is None else self.outer.final_name(new)

    def local_rename(self, name: str) -> str:
        """The name that one of the block's own names has where the block is used."""
        if name in self.use.names:
            return self.use.names[name]
        return f"{self.use.prefix}-{name}" if self.use.prefix else name

    def _collect_names(self, node: YamlNode, plain: Filling) -> None:
        """Add the names that an operation, or a block used in this one, defines."""
        if not isinstance(node, YamlMapping):
            return
        if child_of(node, "use") is not None:
            self._collect_names_of_use(node)
            return
        found = [child_of(node, "id")]
        for key in ("record", "work-out", "choose", "match"):
            entries = child_of(node, key)
            found += [name for name, _ in entries.pairs] if isinstance(entries, YamlMapping) else []
        checks = child_of(node, "check")
        found += [child_of(each, "id") for each in (checks.items if isinstance(checks, YamlSequence) else [])]
        for name in found:
            if isinstance(name, YamlScalar):
                self._add_name(name, plain)

    def _add_name(self, name: YamlScalar, plain: Filling) -> None:
        only = plain.only_placeholder(name)
        if only is None:
            self.own[plain.text(name.text, name)[0]] = None
        else:
            self.named_by_caller[only] = None

    def _collect_names_of_use(self, node: YamlMapping) -> None:
        inner = self._inner_scope(node, quiet=True)
        if inner is None:
            return
        plain = self._filling(lambda name: name)
        self.own |= dict.fromkeys(inner.local_rename(name) for name in inner.own)
        for parameter in inner.named_by_caller:
            written = inner.use.given.get(parameter)
            if isinstance(written, YamlScalar):
                self._add_name(written, plain)

    def _check_renames(self) -> None:
        for names, noun in ((self.use.name_marks, "`names`"), (self.use.add_marks, "`add`")):
            for name, mark in names.items():
                if name not in self.own:
                    hint = hint_for(name, self.own, "It has no ids of its own")
                    message = f"{noun} names `{name}`, but the block `{self.block.id}` has no such id"
                    self._at_caller("unknown-name", mark, message, hint)

    # --- blocks in this block -----------------------------------------------------------------------

    def _inner_scope(self, node: YamlMapping, *, quiet: bool) -> "BlockScope | None":
        """The scope of a use in this block. ``quiet``: only its names are needed."""
        context = SilentContext(self._context) if quiet else self._context
        problems = ProblemList(self.block.file)
        written = YamlMapping([pair for pair in node.pairs if pair[0].text not in ("given", "unless")], node.repeated,
                              node.line, node.column, node.flow)  # fmt: skip
        use = USE_ITEM.read(written, ReadContext(problems))
        for problem in problems.all:
            context.report(problem.code, self.site, self.block.file, Mark(problem.line, problem.column),
                          problem.message, problem.hint)  # fmt: skip
        if use is None or not use.block:
            return None
        site = UseSite(self.block.file, use.mark.line, use.mark.column, self.site)
        return scope_of(use, site, self, context)

    # --- expansion ----------------------------------------------------------------------------------

    def expanded(self) -> ExpandedUse:
        """The operations and the set-up of this use."""
        made = ExpandedUse([], [])
        filling = self._filling_now()
        written = self.block.written
        assert written is not None  # a block with errors has no scope
        for key, node in written.setup.items():
            filled = filling.filled(node, SETUP_ROLES.fixed.get(key, SETUP_ROLES.entry))
            if filled is not None:
                made.setup.append(SetupPart(key, filled, self.block.id, self.site))
        for node in use_items(written.uses):
            self._expand_inner(node, made)
        for node in self.block.operations:
            if not filling.is_kept(node):
                continue
            if isinstance(node, YamlMapping) and child_of(node, "use") is not None:
                self._expand_inner(node, made)
            else:
                self._expand_operation(node, made)
        self._add_keys(made)
        return made

    def _expand_inner(self, node: YamlNode, made: ExpandedUse) -> None:
        mapping = use_mapping(node)
        inner = None if mapping is None else self._inner_scope(mapping, quiet=False)
        if inner is None:
            return
        found = inner.expanded()
        for operation in found.operations:
            operation.local_id = inner.local_rename(operation.local_id)
        made.operations += found.operations
        made.setup += found.setup

    def _expand_operation(self, node: YamlNode, made: ExpandedUse) -> None:
        filled = self._filling_now().filled(node, OPERATION_ROLES)
        if filled is None:
            return
        written = child_of(node, "id")
        local = ""
        if isinstance(written, YamlScalar):
            local = self._filling(lambda name: name).text(written.text, written)[0]
        made.operations.append(ExpandedOperation(local, filled))

    def _add_keys(self, made: ExpandedUse) -> None:
        for name, written in self.use.add.items():
            node = written if self.outer is None else self.outer.filled_operation(written)
            mark = self.use.add_marks[name]
            found = [each for each in made.operations if each.local_id == name]
            if not found and name in self.own:
                message = f"`add` names `{name}`, but this use of the block `{self.block.id}` has no such operation"
                hint = hint_for(name, [each.local_id for each in made.operations], "This use has no operation")
                self._at_caller("unknown-name", mark, message, hint)
            for operation in found:
                if isinstance(operation.node, YamlMapping):
                    self._set_keys(operation.node, node, mark)

    def filled_operation(self, node: YamlNode) -> YamlNode | None:
        """Keys of an operation under `add` in this block."""
        return self._filling_now().filled(node, OPERATION_ROLES)

    def _set_keys(self, operation: YamlMapping, node: YamlNode | None, mark: Mark) -> None:
        if not isinstance(node, YamlMapping):
            self._at_caller("wrong-kind", mark, "`add` needs keys of an operation here", "Write `{key: value}`")
            return
        for key, value in node.pairs:
            at = next((at for at, (old, _) in enumerate(operation.pairs) if old.text == key.text), None)
            removed = is_none(value)
            if removed and at is not None:
                del operation.pairs[at]
            elif removed:
                message = f"`{key.text}: none` deletes a key, but the operation has no `{key.text}`"
                self._at_caller(
                    "unknown-key", key.mark, message, hint_for(key.text, [old.text for old, _ in operation.pairs])
                )
            elif at is None:
                operation.pairs.append((key, value))
            else:
                operation.pairs[at] = (key, value)


def scope_of(use: WrittenUse, site: UseSite, outer: BlockScope | None, context: ExpansionContext) -> BlockScope | None:
    """The scope of a use; ``None``, with a report, if there is no such block or it uses itself."""
    context.count_use()
    chain = [] if outer is None else outer.chain
    outer_site, file = (None, "") if outer is None else (outer.site, outer.block.file)
    if use.block in chain:
        steps = [*chain[chain.index(use.block) :], use.block]
        message = f"The block `{use.block}` uses itself: {' uses '.join(f'`{each}`' for each in steps)}"
        context.report("block-cycle", outer_site, file, use.mark, message, "Remove one of these uses")
        return None
    if len(chain) >= MOST_DEPTH:
        message = f"More than {MOST_DEPTH} blocks use each other here: {' uses '.join(chain)}"
        hint = "Use the blocks one after another in the procedure"
        context.report("block-cycle", outer_site, file, use.mark, message, hint)
        return None
    context.use_made([*chain, use.block], use, site)
    block = context.block_of(use, site)
    if block is None or block.written is None:
        return None
    return BlockScope(block, use, site, outer, context)
