"""The author's comments in a procedure that is written out."""

from pathlib import Path

from benchflow.procedure.blocks.author_comments import with_comments
from benchflow.procedure.blocks.block_expansion import expand_blocks
from benchflow.procedure.blocks.block_folder import BlockFolder
from benchflow.procedure.blocks.block_library import BlockLibrary
from benchflow.procedure.blocks.setup_merging import content_of
from benchflow.procedure.yaml_source.yaml_reader import parse

BLOCK = """\
benchflow-block: 1
id: cover
title: Cover
kit: {consumables: {rag: Rag}}
# of the block
operations:
- {id: wipe, title: Wipe, uses: [rag]}
- {id: fit, title: Fit}
"""
PROCEDURE = """\
# at the top
benchflow: 1
id: trial
title: A trial  # behind a value
# above a use at the top level, which is not written out
use: []
sections:
- title: All
  operations:
    # two lines,
      # with another indent
  - id: first
    title: First
    do: |
      Do it.
      # 4 is a part of the text
    # above a key
    because: It is so
  # above a use
  - use: cover
  # the last one
  - {id: last, title: Last}
# below all
"""


def _written(folder: Path, text: str) -> tuple[str, str]:
    """The written-out text without and with comments."""
    (folder / "cover.yaml").write_text(BLOCK, "utf-8")
    expansion = expand_blocks(text, "trial.yaml", BlockLibrary((BlockFolder(folder, "beside"),)))
    assert expansion is not None
    return expansion.text, with_comments(text, expansion.text, expansion.source_map.places)


def test_comments_on_lines_of_their_own_are_above_what_follows_them(tmp_path: Path) -> None:
    lines = _written(tmp_path, PROCEDURE)[1].split("\n")
    below = {line.strip(): lines[at + 1].strip() for at, line in enumerate(lines) if line.strip().startswith("# ")}
    assert below == {
        "# at the top": "benchflow: 1",
        "# two lines,": "# with another indent",
        "# with another indent": "- id: first",
        "# 4 is a part of the text": "# above a key",
        "# above a key": "because: It is so",
        "# above a use": "- {id: wipe, title: Wipe, uses: [rag]}",
        "# the last one": "- {id: last, title: Last}",
    }


def test_comments_change_no_content(tmp_path: Path) -> None:
    without, with_ = _written(tmp_path, PROCEDURE)
    trees = [parse(text, "").root for text in (without, with_)]
    assert trees[0] is not None
    assert trees[1] is not None
    assert content_of(trees[0]) == content_of(trees[1])


def test_text_that_looks_like_a_comment_changes_no_content(tmp_path: Path) -> None:
    text = PROCEDURE.replace("do: |\n", "do: >-\n\n").replace("title: First\n", 'title: "a\n    # b\n    c"\n')
    without, with_ = _written(tmp_path, text)
    trees = [parse(each, "").root for each in (without, with_)]
    assert trees[0] is not None
    assert trees[1] is not None
    assert content_of(trees[0]) == content_of(trees[1])
