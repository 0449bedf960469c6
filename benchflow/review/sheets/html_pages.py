"""The pages' templates: every text escaped, nothing fetched, a missing name an error."""

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jinja2 import Template
    from markupsafe import Markup


@cache
def template(name: str) -> "Template":
    from jinja2 import Environment, PackageLoader, StrictUndefined  # late: only a sheet needs it

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
    """The looks of a page, one file after the other; they are ours, and so not escaped."""
    from markupsafe import Markup

    folder = files("benchflow.review").joinpath("templates")
    return Markup("\n".join(folder.joinpath(name).read_text(encoding="utf-8") for name in names))
