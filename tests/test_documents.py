"""README.md and DEVELOPERS.md name only files, modules and commands that exist."""

import re
from pathlib import Path

import pytest

from benchflow.cli import COMMANDS

ROOT = Path(__file__).resolve().parent.parent
DOCUMENTS = ("README.md", "DEVELOPERS.md")


def quoted(document: str) -> list[str]:
    """The texts between backticks, and the lines of shell blocks, in a document."""
    text = (ROOT / document).read_text()
    blocks = re.findall(r"```sh\n(.*?)```", text, re.DOTALL)
    return re.findall(r"`([^`\n]+)`", re.sub(r"```.*?```", "", text, flags=re.DOTALL)) + "\n".join(blocks).splitlines()


@pytest.mark.parametrize("document", DOCUMENTS)
def test_files_named_in_documents_exist(document: str) -> None:
    folders = [ROOT, ROOT / "benchflow"]
    missing = []
    for text in quoted(document):
        for name in re.findall(r"(?<![\w/.-])(?:[\w.-]+/)+[\w*.-]*(?<![.])", text):
            if name.startswith(("/", ".venv", "http")) or not any((f / name.split("/")[0]).exists() for f in folders):
                continue
            if not any(list(folder.glob(name.rstrip("/"))) for folder in folders):
                missing.append(name)
    assert missing == []


@pytest.mark.parametrize("document", DOCUMENTS)
def test_modules_named_without_a_folder_exist(document: str) -> None:
    names = {text for text in quoted(document) if re.fullmatch(r"\w+\.py", text)}
    assert {name for name in names if not list((ROOT / "benchflow").rglob(name))} == set()


@pytest.mark.parametrize("document", DOCUMENTS)
def test_commands_named_in_documents_exist(document: str) -> None:
    named = {word for text in quoted(document) for word in re.findall(r"\bbenchflow ([a-z]+)\b", text)}
    assert named
    assert named <= set(COMMANDS)


@pytest.mark.parametrize("document", DOCUMENTS)
def test_pictures_of_documents_exist(document: str) -> None:
    for name in re.findall(r"\]\(([^)#]+)\)", (ROOT / document).read_text()):
        assert (ROOT / name).exists(), name
