"""The command ``completion``: prints a script for command completion in a shell."""

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import print_line
from benchflow.commands.exit_codes import exit_code_help


@click.command(epilog=exit_code_help())
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def completion(shell: str) -> None:
    """Print a script. With it, SHELL completes commands, options and file names.

    \b
    bash:  benchflow completion bash >> ~/.bashrc
    zsh:   benchflow completion zsh >> ~/.zshrc
    fish:  benchflow completion fish > ~/.config/fish/completions/benchflow.fish
    """
    from click.shell_completion import get_completion_class

    completion_class = get_completion_class(shell)
    if completion_class is None:
        raise BenchflowError(f"There is no completion for {shell}. Choose bash, zsh or fish.")
    program = click.get_current_context().find_root().command
    print_line(completion_class(program, {}, "benchflow", "_BENCHFLOW_COMPLETE").source())
