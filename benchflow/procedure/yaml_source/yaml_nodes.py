"""The nodes of the YAML tree: texts, lists and mappings, each with line and column."""

from msgspec import Struct

from benchflow.procedure.model import Mark


class UseSite(Struct, frozen=True):
    """The place where a block is used. ``outer`` is the use of the block in which this use is written."""

    file: str
    line: int
    column: int
    outer: "UseSite | None" = None

    @property
    def outermost(self) -> "UseSite":
        """The use in the author's own file."""
        return self if self.outer is None else self.outer.outermost


class NodeOrigin(Struct, frozen=True):
    """The place that a node comes from, if it is not at its own line and column in the author's file.

    ``site`` is the use of the block in whose ``file`` it is; ``None``: the author's file. ``within`` is the file and
    line of the block where a placeholder is replaced by the node; "" if there is none.
    """

    file: str
    line: int
    column: int
    site: UseSite | None = None
    within: str = ""


class YamlScalar(Struct):
    """A text. ``plain`` means without quotes.

    ``offset`` is the distance from ``column`` to the first character, for a text on one line without escapes or removed
    characters; ``None`` otherwise. ``indent`` is the indent of the lines below a ``|``; ``None`` for other styles.
    """

    text: str
    line: int
    column: int
    plain: bool
    offset: int | None
    indent: int | None = None
    unreadable: bool = False
    """The value cannot be read. That is already reported, so no further problem is reported for it."""
    origin: NodeOrigin | None = None

    @property
    def mark(self) -> Mark:
        return Mark(self.line, self.column)

    def at(self, index: int) -> Mark:
        """The place of the character at ``index``, or of the text if its exact place is unknown."""
        if self.offset is not None:
            return Mark(self.line, self.column + self.offset + index)
        if self.indent is not None:
            before = self.text[:index]
            return Mark(self.line + 1 + before.count("\n"), index - before.rfind("\n") + self.indent)
        return self.mark

    @property
    def is_empty(self) -> bool:
        """True if nothing is written, or one of the YAML words for null."""
        return self.plain and self.text in ("", "~", "null", "Null", "NULL")


class YamlSequence(Struct):
    """A list."""

    items: list["YamlNode"]
    line: int
    column: int
    origin: NodeOrigin | None = None

    @property
    def mark(self) -> Mark:
        return Mark(self.line, self.column)


class YamlMapping(Struct):
    """A mapping of keys to values.

    ``pairs`` are in the author's order, each key once. ``repeated`` are pairs with a key that was written before; they
    are already reported. ``flow`` means written in braces.
    """

    pairs: list[tuple[YamlScalar, "YamlNode"]]
    repeated: list[tuple[YamlScalar, "YamlNode"]]
    line: int
    column: int
    flow: bool
    origin: NodeOrigin | None = None

    @property
    def mark(self) -> Mark:
        return Mark(self.line, self.column)


YamlNode = YamlScalar | YamlSequence | YamlMapping


def child_of(node: YamlNode | None, name: str) -> YamlNode | None:
    """The value of the key ``name``; ``None`` if ``node`` is not a mapping or lacks the key."""
    pairs = node.pairs if isinstance(node, YamlMapping) else []
    return next((child for key, child in pairs if key.text == name), None)


def key_marks(node: YamlNode | None) -> dict[str, Mark]:
    """The place of each key; empty if ``node`` is not a mapping."""
    return {key.text: key.mark for key, _ in node.pairs} if isinstance(node, YamlMapping) else {}


def path_to(root: YamlNode, mark: Mark) -> str:
    """The path of keys and ids to ``mark``, joined by dots. It begins with the operation's id, if there is one."""
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
