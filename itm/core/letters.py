"""Every mail: plain text, a name of its own, and a sign that no person wrote it."""

from collections.abc import Mapping
from smtplib import SMTPRecipientsRefused
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMessage
from django.urls import reverse

from itm.core.outbox import Hopeless


def address(name: str, *args: object) -> str:
    """Of a page, as a mail carries it."""
    return settings.PUBLIC_URL + reverse(name, args=args)


class NoSuchMailbox(Hopeless):
    """The mail server refuses the mailbox for good (RFC 5321 4.2.1: a reply of 500 or more)."""


def send(
    *, to: str, subject: str, body: str, name: str, headers: Mapping[str, str] | None = None
) -> None:
    """The same mail has the same `name`, so that a copy can be told from a second one. Raises
    NoSuchMailbox, and what else the mail server raises."""
    host = urlsplit(settings.PUBLIC_URL).hostname or "localhost"
    message = EmailMessage(
        subject=" ".join(subject.split()),  # names are typed by people, a head is one line
        body=body,
        to=[to],
        headers={
            "Message-ID": f"<{name}@{host}>",
            "Auto-Submitted": "auto-generated",  # RFC 3834: out-of-office machines keep quiet
            **(headers or {}),
        },
    )
    try:
        message.send()
    except SMTPRecipientsRefused as refused:
        if all(code >= 500 for code, _ in refused.recipients.values()):
            raise NoSuchMailbox(str(refused)) from refused
        raise
