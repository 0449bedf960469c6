"""Edits of a procedure file change only their own lines, in every shipped procedure and in odd layouts."""

from difflib import ndiff

import pytest

from benchflow.session.machine_folders import shipped_procedures
from benchflow.writing.revisions.file_text import FileText, TextEdit
from benchflow.writing.revisions.layout_edits import (
    comment_above,
    item_added,
    key_added,
    value_replaced,
    yaml_scalar,
    yaml_value,
)
from benchflow.writing.revisions.yaml_places import PlacedNode, operation_node, operations_in, placed_nodes

ODD = """\
a: {b: 1 , c: [x,y] ,}   # flow
d:
- one   # first
-   two
e: |
  text: {not yaml}

f: >-
  folded
  text
g:
h: 'it''s'   # quoted
"""


def root_of(text: str) -> PlacedNode:
    root = placed_nodes(text)
    assert root is not None
    return root


def changed_lines(old: str, new: str) -> list[str]:
    return [line for line in ndiff(old.split("\n"), new.split("\n")) if line[0] in "+-"]


def edited(text: str, edit: TextEdit) -> str:
    return FileText(text).edited([edit]).plain


@pytest.mark.parametrize("path", shipped_procedures(), ids=lambda path: path.stem)
def test_edits_of_every_operation_change_only_their_lines(path: "object") -> None:
    text = FileText.of(path.read_bytes()).plain  # type: ignore[attr-defined]
    for node in list(operations_in(root_of(text)))[::4]:
        title = node.get("title")
        ident = node.get("id") or node.get("use")
        assert ident is not None
        added = edited(text, key_added(text, node, "because", "a reason"))
        assert len(changed_lines(text, added)) == 1 + 2 * node.flow
        commented = edited(text, comment_above(text, node, "words: {of} a person"))
        assert [line[2:].strip() for line in changed_lines(text, commented)] == ["# words: {of} a person"]
        if title is not None:
            old, new = changed_lines(text, edited(text, value_replaced(title, yaml_scalar("Another title"))))[:2]
            assert old[0] + new[0] == "-+"
            assert "Another title" in new


def test_every_kind_of_value_is_replaced_in_place() -> None:
    root = root_of(ODD)
    expected = {
        "d": ODD.replace("- one   # first\n-   two", "new"),
        "e": ODD.replace("|\n  text: {not yaml}", "new"),
        "f": ODD.replace(">-\n  folded\n  text", "new"),
        "g": ODD.replace("g:\n", "g: new\n"),
        "h": ODD.replace("'it''s'", "new"),
    }
    for key, text in expected.items():
        node = root.get(key)
        assert node is not None
        assert edited(ODD, value_replaced(node, "new")) == text


def test_items_and_keys_are_added_to_flow_and_block() -> None:
    root = root_of(ODD)
    flow, block, in_flow = root.get("a"), root.get("d"), root.at(("a", "c"))
    assert flow is not None
    assert block is not None
    assert in_flow is not None
    assert "a: {b: 1 , c: [x,y], k: v ,}   # flow" in edited(ODD, key_added(ODD, flow, "k", "v"))
    assert "c: [x,y, z] ,}" in edited(ODD, item_added(ODD, in_flow, "z"))
    assert "-   two\n- three\ne: |" in edited(ODD, item_added(ODD, block, "three"))
    single = root_of("a: one  # here")
    node = single.get("a")
    assert node is not None
    assert edited("a: one  # here", item_added("a: one  # here", node, "two")) == "a: [one, two]  # here"


@pytest.mark.parametrize("text", [
    "plain words", "90 N·m", "0.10 .. 0.20 mm", "a: b", "a #b", "{x}", "[x", "- x", "'q'", 'say "no"', "null",
    "2026-03-01",    "*x", "&x", "!x", "|", ">", "%x", "@x", "`x",
    "?", "? x", "a,b", "a]b", "back\\slash", "tab\tin", " lead", "trail ",
    "…",
    "x:", ":x", "---", "#c", "~", "é: ü",
])  # fmt: skip
def test_scalar_means_the_same_text_in_block_and_flow(text: str) -> None:
    written = yaml_scalar(text)
    block, flow = root_of(f"k: {written}\n").get("k"), root_of(f"[{written}, x]").items[0]
    assert block is not None
    assert (block.text, flow.text) == (text, text)


def test_typed_list_or_mapping_is_written_as_such_and_other_braces_as_text() -> None:
    assert yaml_value("[a, b]") == "[a, b]"
    assert yaml_value("{by: side, left: 1 mm}") == "{by: side, left: 1 mm}"
    assert yaml_value("{a} shim") == '"{a} shim"'


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("marked", [False, True])
def test_line_ends_and_byte_order_mark_are_kept(end: str, marked: bool) -> None:
    raw = ODD.replace("\n", end)
    file = FileText.of((("\ufeff" if marked else "") + raw).encode())
    root = root_of(file.plain)
    node = operation_node(root, "none") or root.get("h")
    assert node is not None
    done = file.edited([value_replaced(node, "new"), key_added(file.plain, root, "i", "added")])
    expected = raw.replace("'it''s'   # quoted", f"new   # quoted{end}i: added")
    assert done.data == (("\ufeff" if marked else "") + expected).encode()
