"""The page of a block in the guide, made from its file, as Markdown."""

from collections.abc import Iterator

from benchflow.base.plaintext import clean_line
from benchflow.procedure.blocks.block_file import Block
from benchflow.procedure.blocks.block_keys import NOT_GIVEN, WrittenBlock, WrittenParameter
from benchflow.procedure.blocks.block_sample import missing_samples
from benchflow.procedure.blocks.tree_writer import flow_text
from benchflow.procedure.yaml_source.yaml_nodes import YamlMapping, YamlNode, YamlScalar, YamlSequence, child_of


def block_page(block: Block) -> str:
    """The page of a block: when to use it, its parameters, its operations, what it adds, and an example.

    A block with errors has a page that lists them.
    """
    written = block.written
    if written is None:
        return "\n".join(
            [f"## {block.id}", "", "The file has errors:", "", *(f"- {each}" for each in block.problems), ""]
        )
    lines = [f"## {written.title} (`{block.id}`)", ""]
    if written.about:
        lines += [written.about.strip(), ""]
    lines += [*_parameters(written), *_operations(block), *_setup(written), *_example(block)]
    return "\n".join(lines)


def _parameters(written: WrittenBlock) -> list[str]:
    if not written.takes:
        return ["It takes no parameters.", ""]
    rows = [_row(each) for each in written.takes.values()]
    return ["| parameter | kind | default | meaning |", "|---|---|---|---|", *rows, ""]


def _row(parameter: WrittenParameter) -> str:
    kind = parameter.kind_text
    if parameter.of:
        kind += f": {', '.join(parameter.of)}" if parameter.kind == "choice" else f" of {parameter.of[0]}"
    cells = (f"`{parameter.name}`", kind, default_text(parameter) or "**required**", parameter.text)
    return f"| {' | '.join(clean_line(cell).replace('|', chr(92) + '|') for cell in cells)} |"


def default_text(parameter: WrittenParameter) -> str:
    """The default of a parameter as text: "left out" for `none`, "" if the parameter is required."""
    node = parameter.default
    if node is None:
        return ""
    if isinstance(node, YamlScalar) and node.text.strip() == NOT_GIVEN:
        return "left out"
    return f"`{flow_text(node)}`"


def _operations(block: Block) -> list[str]:
    if not block.operations:
        return []
    return ["Operations:", "", *(f"{number}. {text}" for number, text in enumerate(_steps(block), 1)), ""]


def _steps(block: Block) -> Iterator[str]:
    for node in block.operations:
        used, given = child_of(node, "use"), _condition(node)
        if isinstance(used, YamlScalar):
            yield f"the block `{clean_line(used.text)}`{given}"
            continue
        name, title = (child_of(node, key) for key in ("id", "title"))
        yield f"`{_text(name)}` {_text(title)}{given}"


def _condition(node: YamlNode) -> str:
    parts = []
    for key, word in (("given", "if given"), ("unless", "unless given")):
        condition = child_of(node, key)
        if condition is not None:
            parts.append(f"{word}: {flow_text(condition)}")
    return f" ({', '.join(parts)})" if parts else ""


def _text(node: YamlNode | None) -> str:
    return clean_line(node.text) if isinstance(node, YamlScalar) else ""


def _setup(written: WrittenBlock) -> list[str]:
    """What the block adds to the procedure."""
    found: list[str] = []
    for key, node in written.setup.items():
        if isinstance(node, YamlSequence):
            found.append(f"{key} ({len(node.items)})")
        elif isinstance(node, YamlMapping):
            names = [each for name, value in node.pairs for each in _names(key, name, value)]
            found.append(f"{key}: {', '.join(f'`{name}`' for name in names)}")
    return [f"It adds {'; '.join(found)}.", ""] if found else []


def _names(key: str, name: YamlScalar, value: YamlNode) -> list[str]:
    if key == "kit" and isinstance(value, YamlMapping):
        return [clean_line(each.text) for each, _ in value.pairs]
    return [clean_line(name.text)]


def _example(block: Block) -> list[str]:
    missing = missing_samples(block)
    if missing or block.written is None:
        return []
    given = [(each.name, each.sample) for each in block.takes.values() if each.sample is not None]
    lines = ["An example:", "", "```yaml", f"- use: {block.id}"]
    lines += ["  with:"] if given else []
    lines += [f"    {name}: {flow_text(node)}" for name, node in given]
    return [*lines, "```", ""]
