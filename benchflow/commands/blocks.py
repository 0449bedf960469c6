"""The command ``blocks``: lists the building blocks of procedures."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line
from benchflow.commands.console_output import display_path, print_json, print_line, print_message, print_wrapped
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help

if TYPE_CHECKING:
    from benchflow.procedure.blocks.block_expansion import RecordedUse
    from benchflow.procedure.blocks.block_file import Block
    from benchflow.procedure.blocks.block_library import BlockEntry, BlockLibrary

_PROCEDURES = (".yaml", ".yml")


@click.group(invoke_without_command=True, epilog=exit_code_help("A block has an error. It is shown."))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per block.")
@click.pass_context
def blocks(context: click.Context, as_json: bool) -> int:
    """List the building blocks: operations that are written once, and used by procedures with `use`.

    Without a command, every block is listed with its folder, its title and its parameters. Those without a default
    are required. Blocks are looked up in the folder `blocks` beside a procedure (here: in the current folder), in the
    shop's folder (`benchflow where` shows it), and among the shipped ones.
    """
    if context.invoked_subcommand is not None:
        return SUCCESS
    from benchflow.session.block_lookup import machine_library

    library = machine_library()
    if not library.entries and not as_json:
        folders = ", ".join(display_path(folder.path) for folder in library.folders)
        print_message(f"There are no blocks. Folders: {folders}.")
    worst = SUCCESS
    for name in library.ids:
        for number, entry in enumerate(library.entries_of(name)):
            block = library.read(entry)
            worst = worst if block.written is not None else PROBLEM_FOUND
            if as_json:
                print_json(_as_json(entry, block, used=number == 0))
            else:
                _print_entry(entry, block, used=number == 0)
    return worst


def _print_entry(entry: "BlockEntry", block: "Block", *, used: bool) -> None:
    written = block.written
    title = "has errors" if written is None else clean_line(written.title)
    note = "" if used else "; another block of this id comes first"
    if used and written is not None and written.replaces:
        note = f"; replaces the shipped {entry.id}"
    print_wrapped([f"{entry.id}  ({entry.kind}{note})  {title}"])
    if written is None:
        reason = entry.error or next((str(each) for each in block.problems if each.severity == "error"), "")
        print_wrapped([f"    {reason or 'the file is empty'}"])
        return
    needed = [f"{each.name}: {each.kind_text}" for each in written.takes.values() if not each.optional]
    optional = [f"[{each.name}: {each.kind_text}]" for each in written.takes.values() if each.optional]
    print_wrapped([f"    takes {', '.join([*needed, *optional]) or 'nothing'}"])
    if entry.kind != "shipped":
        print_line(f"    {display_path(entry.path)}")


def _as_json(entry: "BlockEntry", block: "Block", *, used: bool) -> dict[str, Any]:
    from benchflow.procedure.blocks.block_page import default_text

    written = block.written
    takes = {} if written is None else written.takes
    return {
        "id": entry.id,
        "folder": entry.kind,
        "file": display_path(entry.path),
        "sha256": entry.sha256,
        "title": "" if written is None else written.title,
        "takes": [
            {
                "name": each.name,
                "kind": each.kind,
                "list": each.is_list,
                "required": not each.optional,
                "default": default_text(each).strip("`") or None,
                "text": each.text,
            }
            for each in takes.values()
        ],
        "replaces": bool(written is not None and written.replaces),
        "used": used,
        "problems": [str(each) for each in block.problems],
    }


@blocks.command(epilog=exit_code_help("The block has an error."))
@click.argument("name", metavar="ID")
def show(name: str) -> int:
    """Print the page of the block ID (Markdown): when to use it, its parameters, its operations and an example.

    ID is the id of a block, or its file.
    """
    from benchflow.procedure.blocks.block_page import block_page

    block = _named_block(name)
    print_page(block_page(block))
    print_line(f"File: {display_path(Path(block.file))}")
    return SUCCESS if block.written is not None else PROBLEM_FOUND


def print_page(page: str) -> None:
    """Print a page of Markdown. On a terminal its paragraphs are wrapped, but no table and no example."""
    is_example = False
    for line in page.split("\n"):
        is_example ^= line.startswith("```")
        if is_example or line.startswith(("|", "```")):
            print_line(line)
        else:
            print_wrapped([line])


def _named_block(name: str) -> "Block":
    """The block with this id or path.

    Raises:
        BenchflowError: no block has this id, or the file is not a block.
    """
    from benchflow.session.block_lookup import block_of_file, machine_library

    path = Path(name)
    if path.suffix in _PROCEDURES and path.is_file():
        found = block_of_file(path)
        if found is None:
            raise BenchflowError(f"{name} is not a block. A block begins with `benchflow-block: 1`.")
        return found
    library = machine_library()
    entries = library.entries_of(name)
    if not entries:
        raise BenchflowError(_no_block(name, library))
    return library.read(entries[0])


def _no_block(name: str, library: "BlockLibrary") -> str:
    from benchflow.procedure.problems import hint_for

    return f"There is no block {clean_line(name)}. {hint_for(name, library.ids)} List them with: benchflow blocks"


@blocks.command(epilog=exit_code_help())
@click.argument("name", metavar="ID")
@click.argument("places", metavar="[FILE|FOLDER]...", nargs=-1, type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object per use.")
def used(name: str, places: tuple[Path, ...], as_json: bool) -> int:
    """Show which procedures use the block ID, with line, directly or through another block; then the blocks that use
    it directly.

    Without a FILE or FOLDER, the shipped procedures and those in the current folder are searched. A FOLDER is
    searched with its subfolders.
    """
    from benchflow.session.block_lookup import machine_library

    files = list(_procedure_files(places))
    searched = {path.resolve() for path in files}
    count = 0
    known = set(machine_library().ids)
    for path in files:
        uses = _uses_in(path)
        known |= {use.chain[-1] for use in uses}
        for use in uses:
            if use.chain[-1] != name:
                continue
            count += 1
            if as_json:
                print_json({"file": display_path(path), "line": use.line, "as": use.prefix,
                            "through": list(use.chain[:-1])})  # fmt: skip
            else:
                print_line(f"{display_path(path)}:{use.line}: {_how(use)}")
    for file, line in _uses_in_blocks(name):
        if file.resolve() in searched:
            continue
        count += 1
        if as_json:
            print_json({"file": display_path(file), "line": line, "as": "", "through": [], "block": True})
        else:
            print_line(f"{display_path(file)}:{line}: the block {file.stem} uses {name}")
    if not count and name not in known:
        raise BenchflowError(_no_block(name, machine_library()))
    if not count and not as_json:
        print_message(f"None of {len(files)} procedures and no other block uses the block {name}.")
    return SUCCESS


def _uses_in_blocks(name: str) -> Iterator[tuple[Path, int]]:
    """The block files that use the block ``name`` directly, each with the line."""
    from benchflow.procedure.blocks.block_keys import use_items, use_mapping
    from benchflow.procedure.yaml_source.yaml_nodes import YamlScalar, child_of
    from benchflow.session.block_lookup import machine_library

    library = machine_library()
    for entry in library.entries:
        block = library.read(entry)
        written = None if block.written is None else block.written.uses
        for node in (*block.operations, *use_items(written)):
            found = child_of(use_mapping(node), "use")
            if isinstance(found, YamlScalar) and found.text == name:
                yield entry.path, found.line


def _how(use: "RecordedUse") -> str:
    prefix = f" as {use.prefix}" if use.prefix else ""
    if len(use.chain) == 1:
        return f"uses {use.chain[-1]}{prefix}"
    through = ", which uses ".join(use.chain[:-1])
    return f"uses {through}, which uses {use.chain[-1]}{prefix} ({display_path(Path(use.file))}:{use.line_in_file})"


def _procedure_files(places: tuple[Path, ...]) -> Iterator[Path]:
    """The files that are named, and all procedures in the folders that are named.

    Raises:
        BenchflowError: a file or folder does not exist.
    """
    from benchflow.session.machine_folders import shipped_procedures

    if not places:
        here = sorted(path for path in Path().iterdir() if path.suffix in _PROCEDURES and path.is_file())
        yield from dict.fromkeys([*(path.resolve() for path in here), *shipped_procedures()])
        return
    for place in places:
        if not place.exists():
            raise BenchflowError(f"There is no file or folder {place}.")
        if place.is_dir():
            yield from sorted(path for path in place.rglob("*.y*ml") if path.suffix in _PROCEDURES)
        else:
            yield place


def _uses_in(path: Path) -> "tuple[RecordedUse, ...]":
    """The uses of blocks in a procedure; none, with a message, if the file cannot be read."""
    from benchflow.procedure.blocks.block_expansion import expand_blocks
    from benchflow.procedure.blocks.block_folder import may_use_blocks
    from benchflow.procedure.compiled_cache import read_author_text
    from benchflow.session.block_lookup import library_of_procedure

    try:
        text = read_author_text(path)
    except BenchflowError as error:
        print_message(str(error))
        return ()
    if text is None or not may_use_blocks(text):
        return ()
    expansion = expand_blocks(text, str(path), library_of_procedure(path))
    return () if expansion is None else expansion.uses
