"""What every page shows around its content."""

from django.http import HttpRequest
from django.urls import reverse

from itm.notices.news import count_new

NAVIGATION = {
    "owner": [
        ("Next things", "home"),
        ("Sites", "sites"),
        ("Findings", "deficiencies"),
        ("Lots", "lots"),
        ("Programmes", "programmes"),
        ("Trends", "trends"),
        ("Search", "search"),
    ],
    "contractor": [
        ("Visits", "home"),
        ("Next things", "due"),
        ("Sites", "sites"),
        ("Findings", "deficiencies"),
        ("Instruments", "instruments"),
        ("Trends", "trends"),
        ("Search", "search"),
    ],
    "authority": [
        ("Systems", "home"),
        ("Next things", "due"),
        ("Sites", "sites"),
        ("Findings", "deficiencies"),
        ("Programmes", "programmes"),
        ("Trends", "trends"),
        ("Search", "search"),
    ],
}


def shell(request: HttpRequest) -> dict:
    """The actor and the navigation of the actor's kind."""
    actor = getattr(request, "actor", None)
    if actor is None:
        return {"actor": None, "nav": []}
    nav = [(label, reverse(name)) for label, name in NAVIGATION[actor.kind]]
    home = reverse("home")
    here = next((u for _, u in nav if u != home and request.path.startswith(u)), None)
    if request.path == home:
        here = home
    return {
        "actor": actor,
        "nav": [(label, url, url == here) for label, url in nav],
        # Asked by whoever draws the head of a page: fragments cost nothing.
        "count_new": lambda: count_new(actor),
    }
