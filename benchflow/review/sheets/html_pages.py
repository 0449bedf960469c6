"""Loads the templates and style sheets of the HTML pages. Templates escape text; an unknown name in one is an error."""

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jinja2 import Template
    from markupsafe import Markup


@cache
def template(name: str) -> "Template":
    """The template ``name`` of the package."""
    from jinja2 import Environment, PackageLoader, StrictUndefined  # imported late: only a sheet needs it

    environment = Environment(
        loader=PackageLoader("benchflow.review"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(name)


@cache
def style(*names: str) -> "Markup":
    """The style sheets ``names`` of the package, joined. They are not escaped."""
    from markupsafe import Markup

    folder = files("benchflow.review").joinpath("templates")
    return Markup("\n".join(folder.joinpath(name).read_text(encoding="utf-8") for name in names))
