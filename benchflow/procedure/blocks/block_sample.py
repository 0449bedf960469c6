"""A block alone: its check, and the example that is made from the samples and defaults of its parameters."""

import re
from collections.abc import Iterator, Mapping
from hashlib import sha256

from msgspec.structs import replace

from benchflow.procedure.blocks.block_expansion import Expansion, expand_tree
from benchflow.procedure.blocks.block_file import HEADER, Block, read_block
from benchflow.procedure.blocks.block_library import BlockLibrary
from benchflow.procedure.blocks.block_stand_ins import DEPEND_ON_FIGURES, FOLLOW_FROM_LEFT_OUT, stand_ins
from benchflow.procedure.problems import Problem
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar, YamlSequence, child_of
from benchflow.procedure.yaml_source.yaml_reader import ProblemList

_NAMES_MISSING = frozenset(
    {"unknown-name", "unknown-placeholder", "unused", "never-called", "no-rule", "missing-title"}
)
"""Codes of problems that an example has only because no procedure is around it, such as an unknown joint."""


_unknown_and_meant = re.compile(r"`([^`]+)` Did you mean `([^`]+)`\?$")


_OF_KEYS = frozenset({"unknown-key", "duplicate-key", "bad-key"})
"""Problems that do not depend on the values of parameters. They are reported beside other errors."""


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
    return None if missing_samples(block) else _expanded(block, library, {})


def _expanded(block: Block, library: BlockLibrary, made: Mapping[str, YamlNode]) -> Expansion | None:
    """The example with the samples, and with ``made`` for parameters without one; ``None`` if the block has errors."""
    if block.written is None:
        return None
    values = {name: made.get(name, each.sample) for name, each in block.takes.items()}
    given: list[tuple[YamlScalar, YamlNode]] = [
        (_text(name), node) for name, node in values.items() if node is not None
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
        (_text(node.text), YamlSequence([_text("one"), _text("two")], 1, 1))
        for name, node in values.items() if block.takes[name].kind == "places" and isinstance(node, YamlScalar)
    ]  # fmt: skip
    if places:
        root.pairs.append((_text("places"), _mapping([(key, value) for key, value in places])))
    key, value = ("sections", _list(section)) if block.operations else ("use", _list(_mapping(pairs)))
    root.pairs.append((_text(key), value))
    return expand_tree(root, ProblemList(block.file), block.file, library.with_block(block), is_example=True)


def check_block(block: Block, library: BlockLibrary) -> list[Problem]:
    """The problems of a block file, and of the example that it makes, at the lines of the file.

    In place of missing samples there are stand-ins (:func:`stand_ins`). Then problems that can come from them are left
    out.
    """
    from benchflow.procedure.reader import read

    missing = missing_samples(block)
    made = stand_ins(block)
    expansion = _expanded(block, library, made)
    if expansion is None:
        return list(block.problems)
    excluded = _NAMES_MISSING
    excluded |= DEPEND_ON_FIGURES if missing else frozenset()
    excluded |= FOLLOW_FROM_LEFT_OUT if set(missing) - made.keys() else frozenset()
    found = [_at_own_line(problem, block) for problem in expansion.problems if problem.code not in excluded]
    is_certain = not any(problem.severity == "error" for problem in found)
    for problem in read(expansion.text, block.file).problems if expansion.text and block.operations else ():
        each = _at_own_line(expansion.source_map.in_author_file(problem), block)
        if is_certain or each.code in _OF_KEYS:
            found += [each] if each.code not in excluded else _about_similar_name(each, block, expansion)
    own = sorted((each for each in found if each.line), key=lambda each: (each.line, each.column))
    return list(dict.fromkeys([*block.problems, *own]))


def _about_similar_name(problem: Problem, block: Block, expansion: Expansion) -> Iterator[Problem]:
    """A problem of an unknown name, if the block itself has a similar one that is probably meant."""
    if problem.code == "unknown-placeholder":
        hint = expansion.suggestions.get(f"{block.file}:{problem.line}")
        if hint is not None:
            yield replace(problem, hint=hint)
    elif problem.code == "unknown-name" and not problem.block:
        found = _unknown_and_meant.search(f"{problem.message} {problem.hint}")
        if found and _is_slip(found[1], found[2]) and any(_is_id(node, found[2]) for node in block.operations):
            yield replace(problem, severity="note", hint=f"{problem.hint} If the procedure has to define it, describe "
                          "that under `about`")  # fmt: skip


def _is_slip(written: str, meant: str) -> bool:
    """True if two names differ by one letter, or by two that changed places."""
    same = next((at for at, pair in enumerate(zip(written, meant, strict=False)) if len(set(pair)) > 1), None)
    at = min(len(written), len(meant)) if same is None else same
    one, other = written[at:], meant[at:]
    swapped = one[:2] == other[1::-1] and one[2:] == other[2:]
    return one[1:] == other or one == other[1:] or one[1:] == other[1:] or swapped


def _is_id(operation: YamlNode, name: str) -> bool:
    found = child_of(operation, "id")
    return isinstance(found, YamlScalar) and found.text == name


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
