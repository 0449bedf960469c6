"""A block alone: its check, and the example that is made from the samples and defaults of its parameters."""

from hashlib import sha256
from typing import TypeGuard

from msgspec.structs import replace

from benchflow.procedure.blocks.block_expansion import Expansion, expand_tree
from benchflow.procedure.blocks.block_file import HEADER, Block, read_block
from benchflow.procedure.blocks.block_keys import NOT_GIVEN
from benchflow.procedure.blocks.block_library import BlockLibrary
from benchflow.procedure.blocks.parameter_kinds import argument
from benchflow.procedure.blocks.tree_writer import flow_text
from benchflow.procedure.problems import Problem
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar, YamlSequence
from benchflow.procedure.yaml_source.yaml_reader import ProblemList

_NAMES_MISSING = frozenset(
    {"unknown-name", "unknown-placeholder", "unused", "never-called", "no-rule", "missing-title"}
)
"""Codes of problems that an example has only because no procedure is around it, such as an unknown joint."""


def is_block_text(text: str) -> bool:
    """True if a text begins with the key of a block file, after comments."""
    lines = (line.strip() for line in text.removeprefix("\ufeff").splitlines())
    first = next((line for line in lines if line and not line.startswith(("#", "---"))), "")
    return first.startswith((f"{HEADER}:", f'"{HEADER}":'))


def missing_samples(block: Block) -> list[str]:
    """The parameters without a sample or a default. Without them there is no example."""
    return [name for name, each in block.takes.items() if each.sample is None and each.default is None]


def expand_sample(block: Block, library: BlockLibrary) -> Expansion | None:
    """The example of a block, written out as a procedure; ``None`` if the block has errors or samples are missing."""
    if block.written is None or missing_samples(block):
        return None
    given: list[tuple[YamlScalar, YamlNode]] = [
        (_text(name), each.sample) for name, each in block.takes.items() if each.sample is not None
    ]
    pairs: list[tuple[YamlScalar, YamlNode]] = [(_text("use"), _text(block.id))]
    if given:
        pairs.append((_text("with"), _mapping(given)))
    section = _mapping([(_text("title"), _text("Example")), (_text("operations"), _list(_mapping(pairs)))])
    root = _mapping(
        [
            (_text("benchflow"), _text("1")),
            (_text("id"), _text(f"{block.id}-example")),
            (_text("title"), _text(f"An example of {block.id}")),
        ]
    )
    places = [
        (_text(each.sample.text), YamlSequence([_text("one"), _text("two")], 1, 1))
        for each in block.takes.values() if each.kind == "places" and isinstance(each.sample, YamlScalar)
    ]  # fmt: skip
    if places:
        root.pairs.append((_text("places"), _mapping([(key, value) for key, value in places])))
    key, value = ("sections", _list(section)) if block.operations else ("use", _list(_mapping(pairs)))
    root.pairs.append((_text(key), value))
    return expand_tree(root, ProblemList(block.file), block.file, library.with_block(block), is_example=True)


def check_block(block: Block, library: BlockLibrary) -> list[Problem]:
    """The problems of a block file and of its example, if it has one, at the lines of the file."""
    from benchflow.procedure.reader import read

    expansion = expand_sample(block, library)
    if expansion is None:
        values = [(each, node) for each in block.takes.values() for node in (each.default, each.sample)]
        wrong = [problem for each, node in values if _is_fixed(node) for problem in argument(each, node)[1]]
        return [*block.problems, *(replace(problem, file=block.file) for problem in wrong)]
    found = [_at_own_line(problem, block) for problem in expansion.problems]
    if expansion.text and not expansion.any_error and block.operations:
        for problem in read(expansion.text, block.file).problems:
            if problem.code not in _NAMES_MISSING:
                found.append(_at_own_line(expansion.source_map.in_author_file(problem), block))
    own = [each for each in found if each.line and each.code not in _NAMES_MISSING]
    return list(dict.fromkeys([*block.problems, *sorted(own, key=lambda each: (each.line, each.column))]))


def _is_fixed(node: YamlNode | None) -> TypeGuard[YamlNode]:
    """True for a default or a sample that names no other parameter."""
    return node is not None and "{" not in flow_text(node) and flow_text(node) != NOT_GIVEN


def _at_own_line(problem: Problem, block: Block) -> Problem:
    """A problem of the example at the line of the block, if it is in this block."""
    file, _, line = problem.block.rpartition(":")
    if file != block.file or not line.isdigit():
        return problem
    return replace(problem, line=int(line), column=1, block="")


def block_from(data: bytes, file: str, name: str) -> Block:
    """The block in the bytes of a file; ``name`` is the name of the file without its suffix."""
    return read_block(data, file, name, sha256(data).hexdigest())


def _text(text: str) -> YamlScalar:
    return YamlScalar(text, 1, 1, True, None)


def _list(node: YamlNode) -> YamlSequence:
    return YamlSequence([node], 1, 1)


def _mapping(pairs: list[tuple[YamlScalar, YamlNode]]) -> YamlMapping:
    return YamlMapping(pairs, [], 1, 1, False)
