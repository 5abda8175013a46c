"""The environment in which templates become pages: everything escaped, nothing undefined."""

from jinja2 import Environment, PackageLoader, StrictUndefined

__all__ = ["page_environment"]


def page_environment() -> Environment:
    """Return the environment of the pages' templates."""
    # select_autoescape goes by the ending of the file name and would not escape a .j2
    return Environment(
        loader=PackageLoader("locbench.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
