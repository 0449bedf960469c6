"""The command ``schema``: prints a JSON Schema for editors."""

import json

import click

from benchflow.commands.console_output import print_line
from benchflow.commands.exit_codes import exit_code_help


@click.command(epilog=exit_code_help())
@click.option("--shop", is_flag=True, help="Print the schema of the shop file instead.")
@click.option("--block", is_flag=True, help="Print the schema of the file of a building block instead.")
def schema(shop: bool, block: bool) -> None:
    """Print the JSON Schema of the procedure file. An editor that uses it completes keys and marks errors.

    \b
    An example for editors with the YAML language server. Save the schema:
      benchflow schema > procedure.schema.json
    Then make this the first line of the procedure:
      # yaml-language-server: $schema=./procedure.schema.json
    """
    if shop and block:
        raise click.UsageError("Choose one of --shop and --block.")
    if block:
        from benchflow.procedure.authoring.json_schema import block_schema as json_schema
    elif shop:
        from benchflow.session.shop.register_reader import json_schema
    else:
        from benchflow.procedure.authoring.json_schema import json_schema
    print_line(json.dumps(json_schema(), indent=2, ensure_ascii=False))
