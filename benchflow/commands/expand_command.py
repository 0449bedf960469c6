"""The command ``expand``: prints a procedure with its blocks written out."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchflow.commands.console_output import display_path, print_message
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS, exit_code_help
from benchflow.commands.file_lookup import find_procedure
from benchflow.commands.output_file import write_output

if TYPE_CHECKING:
    from benchflow.procedure.blocks.block_expansion import Expansion


@click.command(epilog=exit_code_help("A block or its use has an error, or the procedure written out has one."))
@click.argument("file")
@click.option("-o", "--out", type=click.Path(path_type=Path), help="The file to write. Default: standard output.")
def expand(file: str, out: Path | None) -> int:
    """Print the procedure in FILE with its blocks written out, as a job by it is logged. The first lines name the
    blocks with the SHA-256 of their files. Comments on lines of their own are kept; the log has none.

    FILE is the file of a procedure or of a block, or the name of a shipped procedure. A block is written out with the
    samples and defaults of its parameters.
    """
    from benchflow.procedure.compiled_cache import read_author_text
    from benchflow.session.block_lookup import library_of_procedure, sample_of_file
    from benchflow.session.procedure_loading import load_procedure

    path = find_procedure(file)
    sample = sample_of_file(path)
    if sample is not None:
        return _print_expansion(path, sample, out)
    text = read_author_text(path)
    if text is not None:
        from benchflow.procedure.blocks.block_expansion import expand_blocks

        expansion = expand_blocks(text, str(path), library_of_procedure(path))
        if expansion is not None:
            return _print_expansion(path, expansion, out, text)
    loaded = load_procedure(path)
    for problem in loaded.problems:
        if problem.severity == "error":
            print_message(str(problem))
    write_output(loaded.text, out)
    if loaded.procedure is None:
        return PROBLEM_FOUND
    print_message(f"{display_path(path)} uses no blocks. It is printed as it is.")
    return SUCCESS


def _print_expansion(path: Path, expansion: "Expansion", out: Path | None, author_text: str = "") -> int:
    for problem in expansion.problems:
        print_message(str(problem))
    if not expansion.text or expansion.any_error:
        return PROBLEM_FOUND
    written = expansion.text
    if author_text:
        from benchflow.procedure.blocks.author_comments import with_comments

        written = with_comments(author_text, written, expansion.source_map.places)
    write_output(header(path, expansion) + written, out)
    return SUCCESS


def header(path: Path, expansion: "Expansion") -> str:
    """The comment above a procedure that is written out: its file, and the blocks with their digests."""
    lines = [f"# Written out from {display_path(path)} by: benchflow expand", "# It uses these blocks (SHA-256):"]
    lines += [f"#   {each.id}  {each.sha256}  {display_path(Path(each.file))}" for each in expansion.blocks]
    return "\n".join([*lines, "", ""])
