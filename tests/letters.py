"""Mails that the product sent, and where their links lead."""

import re

from django.core import mail

from itm.core import outbox


def last_link(name: str) -> str:
    """The secret in the newest link of that kind, once the mail promised last has left: the newest
    job is taken first, and others may take long."""
    outbox.run_one()
    found = [
        secret for one in mail.outbox for secret in re.findall(rf"/{name}/([^/\s]+)/", one.body)
    ]  # fmt: skip
    return found[-1]
