"""The ledger's shop, with previews as indexing leaves them, and a reader that finds faults in a page."""

import re
from collections.abc import Callable
from html.parser import HTMLParser

import pytest
from PIL import Image

from ..ledger.conftest import Shop, shop

__all__ = ["Shop", "shop"]

VOID = {"meta", "img", "br", "hr", "link", "input"}


class Reader(HTMLParser):
    """Checks that tags balance and that nothing outside the page is referred to; keeps the text."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.text: list[str] = []
        self.pictures: list[str] = []
        self.tags: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        for name, value in attrs:
            assert not name.startswith("on"), f"{name} on {tag}"
            if name in ("src", "href", "xlink:href", "action", "data"):
                assert (value or "").startswith("data:image/webp;base64,"), f"{tag} refers to {value!r:.60}"
                self.pictures.append(value or "")
        if tag not in VOID and tag not in ("rect", "path", "image"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag in ("rect", "path", "image"):
            return
        assert self.open and self.open.pop() == tag, f"</{tag}> closes nothing"

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] != "style":
            self.text.append(data)


@pytest.fixture
def read() -> Callable[[str], Reader]:
    def reading(page: str) -> Reader:
        reader = Reader()
        reader.feed(page)
        reader.close()
        assert not reader.open, f"never closed: {reader.open}"
        assert "script" not in reader.tags and "iframe" not in reader.tags
        assert not re.search(r"url\(|@import", page)
        return reader
    return reading


def preview(shop: Shop, sha256: str, size: tuple[int, int] = (1024, 717)) -> None:
    place = shop.home.preview(sha256)
    place.parent.mkdir(parents=True, exist_ok=True)
    Image.linear_gradient("L").resize(size).convert("RGB").save(place, "WEBP")
