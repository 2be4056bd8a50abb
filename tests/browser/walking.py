"""Which pages a person comes to by links alone, one of each kind."""

from collections import Counter, deque
from collections.abc import Collection
from html.parser import HTMLParser
from urllib.parse import urlsplit

from django.urls import Resolver404, resolve
from playwright.sync_api import APIRequestContext

LOOKED_INTO = 2  # pages of a kind that are read for links; the fullest of them is the one kept


class Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: dict[str, None] = {}

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "a" and (to := dict(attrs).get("href")) and "download" not in dict(attrs):
            self.found[to] = None


def links_of(html: str) -> list[str]:
    parser = Links()
    parser.feed(html)
    return list(parser.found)


def kind_of(path: str) -> str:
    """The name of its address; empty for what is no page of ours or asked by programs."""
    try:
        match = resolve(urlsplit(path).path)
    except Resolver404:
        return ""
    return "" if match.namespace else str(match.url_name)


def walk(request: APIRequestContext, known: Collection[str]) -> dict[str, str]:
    """Kind and path, breadth first from the own home, as links are followed.

    Kinds that somebody else came to already are looked into once, for where they lead.
    """
    found: dict[str, tuple[int, str]] = {}
    looked: Counter[str] = Counter()
    ahead, seen = deque(["/"]), {"/"}
    while ahead:
        path = ahead.popleft()
        kind = kind_of(path)
        if not kind or looked[kind] == (1 if kind in known else LOOKED_INTO):
            continue
        looked[kind] += 1
        answer = request.get(path)
        if answer.status != 200 or "text/html" not in answer.headers["content-type"]:
            continue
        html = answer.text()
        found[kind] = max(found.get(kind, (0, "")), (len(html), path))
        for to in links_of(html):
            here = to.split("#")[0]
            if here.startswith("/") and not here.startswith("//") and here not in seen:
                seen.add(here)
                ahead.append(here)
    return {kind: path for kind, (_, path) in found.items()}
