"""Passwords hashed quickly: on purpose it is slow, and tests have hundreds."""

from django.contrib.auth.hashers import PBKDF2PasswordHasher


class Quick(PBKDF2PasswordHasher):
    """The product's own way, once over. What it made is read by a server of its own, too."""

    iterations = 1
