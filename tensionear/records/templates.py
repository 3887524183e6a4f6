"""The templates of the pages: all that is put into them is escaped. Imports jinja2 when it runs."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jinja2 import Template


@cache
def template(package: str, name: str) -> Template:
    """A template of the folder ``pages`` of a package; ``page.html``, which it extends, is here."""
    from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined

    folders = ChoiceLoader([PackageLoader(each, "pages") for each in dict.fromkeys((package, "tensionear.records"))])
    environment = Environment(
        loader=folders, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    found: Any = environment.get_template(name)
    return found  # type: ignore[no-any-return]
