"""What is kept of a secret with 256 random bits: one SHA-256 is enough, as nothing about it can be
guessed."""

import hashlib


def digest_of(text: str) -> str:
    return hashlib.sha256(text.encode(errors="surrogatepass")).hexdigest()
