"""From where a request comes, as far as that can be believed."""

from django.http import HttpRequest
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle


def caller(request: HttpRequest | Request) -> str:
    """The other end of the line, or what the proxies of ours say of it (`NUM_PROXIES`): a name that
    anybody could write into a header counts for nothing."""
    return BaseThrottle().get_ident(request) or ""  # type: ignore[arg-type]
