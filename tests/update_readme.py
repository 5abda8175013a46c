"""Writes what the README shows of the models anew: `python tests/update_readme.py`."""

from pathlib import Path

from locbench.report.config_reference import config_reference

__all__ = ["README", "with_reference"]

README = Path(__file__).parents[1] / "README.md"
_BEGIN, _END = "<!-- every key: begin -->\n", "<!-- every key: end -->\n"


def with_reference(text: str) -> str:
    """Return the README's text with the tables of keys between the two markers made from the models."""
    before, _, rest = text.partition(_BEGIN)
    _, end, after = rest.partition(_END)
    if not end:
        raise ValueError(f"README.md lacks its markers {_BEGIN.strip()} and {_END.strip()}")
    return f"{before}{_BEGIN}{config_reference()}{_END}{after}"


if __name__ == "__main__":
    README.write_text(with_reference(README.read_text(encoding="utf-8")), encoding="utf-8")
