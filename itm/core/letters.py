"""Every mail: plain text, a name of its own, and a sign that no person wrote it."""

from collections.abc import Mapping
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMessage
from django.urls import reverse


def address(name: str, *args: object) -> str:
    """Of a page, as a mail carries it."""
    return settings.PUBLIC_URL + reverse(name, args=args)


def send(
    *, to: str, subject: str, body: str, name: str, headers: Mapping[str, str] | None = None
) -> None:
    """The same mail has the same `name`, so that a copy can be told from a second one. Raises what
    the mail server raises."""
    host = urlsplit(settings.PUBLIC_URL).hostname or "localhost"
    EmailMessage(
        subject=" ".join(subject.split()),  # names are typed by people, a head is one line
        body=body,
        to=[to],
        headers={
            "Message-ID": f"<{name}@{host}>",
            "Auto-Submitted": "auto-generated",  # RFC 3834: out-of-office machines keep quiet
            **(headers or {}),
        },
    ).send()
