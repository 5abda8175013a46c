"""Reads a page's tags and complains about wrong nesting."""

from html.parser import HTMLParser

__all__ = ["Outline", "outline"]

VOID = {"meta", "br", "img", "col"}


class Outline(HTMLParser):
    """Collects tags, and complains about wrong nesting."""

    def __init__(self):
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict]] = []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def outline(text: str) -> Outline:
    parsed = Outline()
    parsed.feed(text)
    assert parsed.open == []
    return parsed
