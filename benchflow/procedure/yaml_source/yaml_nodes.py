"""The author's file as a tree: texts, lists and mappings, each with its place."""

from msgspec import Struct

from benchflow.procedure.model import Mark


class YamlScalar(Struct):
    """A text. ``plain`` is written without quotes.

    ``offset`` leads from ``column`` to the first character where positions inside the text can be told (one line,
    nothing escaped or taken out). ``indent`` is that of the lines below a ``|``. ``None`` where neither holds.
    """

    text: str
    line: int
    column: int
    plain: bool
    offset: int | None
    indent: int | None = None
    spoilt: bool = False
    """What stands here cannot be read and was reported; nothing more is to be said of it."""

    @property
    def mark(self) -> Mark:
        return Mark(self.line, self.column)

    def at(self, index: int) -> Mark:
        """The place of the character at ``index``, as near as can be told."""
        if self.offset is not None:
            return Mark(self.line, self.column + self.offset + index)
        if self.indent is not None:
            before = self.text[:index]
            return Mark(self.line + 1 + before.count("\n"), index - before.rfind("\n") + self.indent)
        return self.mark

    @property
    def nothing(self) -> bool:
        """Nothing was written here, or one of YAML's words for nothing."""
        return self.plain and self.text in ("", "~", "null", "Null", "NULL")


class YamlSequence(Struct):
    items: list["YamlNode"]
    line: int
    column: int

    @property
    def mark(self) -> Mark:
        return Mark(self.line, self.column)


class YamlMapping(Struct):
    """Keys in the author's order, each once; ``repeated`` are the ones written again, already reported.

    ``flow`` is written in braces."""

    pairs: list[tuple[YamlScalar, "YamlNode"]]
    repeated: list[tuple[YamlScalar, "YamlNode"]]
    line: int
    column: int
    flow: bool

    @property
    def mark(self) -> Mark:
        return Mark(self.line, self.column)


YamlNode = YamlScalar | YamlSequence | YamlMapping


def way(root: YamlNode, mark: Mark) -> str:
    """The keys and ids that lead to ``mark``, joined by dots; an operation's id stands for all before it."""
    steps: list[str] = []
    node = root
    place = (mark.line, mark.column)
    while True:
        if isinstance(node, YamlMapping):
            before = [pair for pair in node.pairs + node.repeated if (pair[0].line, pair[0].column) <= place]
            if not before:
                break
            key, node = max(before, key=lambda pair: (pair[0].line, pair[0].column))
            steps.append(key.text)
        elif isinstance(node, YamlSequence):
            inside = [index for index, item in enumerate(node.items) if (item.line, item.column) <= place]
            if not inside:
                break
            node = node.items[inside[-1]]
            named = _id_of(node)
            if named and steps[-1:] == ["operations"]:
                steps = [named]
            elif steps:
                steps[-1] += f"[{inside[-1] + 1}]"
        else:
            break
    return ".".join(steps)


def _id_of(node: YamlNode) -> str:
    if isinstance(node, YamlMapping):
        for key, value in node.pairs:
            if key.text == "id" and isinstance(value, YamlScalar):
                return value.text
    return ""
