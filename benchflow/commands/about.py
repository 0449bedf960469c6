"""Commands about the program itself: ``schema``, ``guide``, ``where``, ``completion``."""

import os

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.output import emit, say, shown


@click.command()
@click.option("--shop", is_flag=True, help="Print the schema of the shop file instead.")
def schema(shop: bool) -> None:
    """Print the JSON Schema of the procedure file. An editor that uses it completes keys and marks errors.

    \b
    For example, as the first line of a procedure, for editors with the YAML language server:
      # yaml-language-server: $schema=./procedure.schema.json
    after: benchflow schema > procedure.schema.json
    """
    import json

    if shop:
        from benchflow.session.shop.register_reader import json_schema
    else:
        from benchflow.procedure.authoring.json_schema import json_schema
    say(json.dumps(json_schema(), indent=2, ensure_ascii=False))


@click.command()
def guide() -> None:
    """Print the author's guide: every key of the procedure file, what it means, and an example (Markdown)."""
    from benchflow.procedure.authoring.author_guide import author_guide

    say(author_guide())


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def where(as_json: bool) -> None:
    """Show where logs, settings and procedures are on this machine.

    Set BENCHFLOW_HOME to a folder to have everything under it.
    """
    from benchflow.session.machine_folders import HOME, library, places

    here = places()
    if as_json:
        emit(
            {
                "sessions": str(here.sessions),
                "shop": str(here.shop),
                "data": str(here.data),
                "config": str(here.config),
                "cache": str(here.cache),
                "library": [str(path) for path in library()],
                "home": os.environ.get(HOME) or None,
            }
        )
        return
    for name, path in (("logs", here.sessions), ("shop file", here.shop), ("data", here.data), ("cache", here.cache)):
        say(f"{name:<12}{path}{'' if path.exists() else '   (does not exist yet)'}")
    for number, path in enumerate(library()):
        say(f"{'' if number else 'procedures':<12}{shown(path)}")
    if not library():
        say(f"{'procedures':<12}none supplied")


@click.command()
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def completion(shell: str) -> None:
    """Print the script by which SHELL completes commands, options and files.

    \b
    bash:  benchflow completion bash >> ~/.bashrc
    zsh:   benchflow completion zsh >> ~/.zshrc
    fish:  benchflow completion fish > ~/.config/fish/completions/benchflow.fish
    """
    from click.shell_completion import get_completion_class

    made = get_completion_class(shell)
    if made is None:
        raise BenchflowError(f"There is no completion for {shell}.")
    say(made(click.get_current_context().find_root().command, {}, "benchflow", "_BENCHFLOW_COMPLETE").source())
