"""Stored files on their way to a person: as what they are, run as nothing, and missed in words."""

from typing import Any

from django.http import FileResponse

from itm.core.errors import Gone
from itm.registry.files import opened
from itm.retention.letting import gone_words

# A file is looked at as what it is and runs nothing, whatever its bytes would be elsewhere.
SEALED_OFF = "default-src 'none'; sandbox"


def served(
    file: Any, content_type: str, name: str, *, saved: bool, cache: str = "private, no-cache",
    size: int | None = None,
) -> FileResponse:  # fmt: skip
    """In chunks: it may be larger than the memory of the server. `saved`: handed over to be saved
    and not opened. Raises Gone where the store has lost it."""
    headers = {
        "Content-Security-Policy": SEALED_OFF,
        "X-Content-Type-Options": "nosniff",
        "Cache-Control": cache,
    }
    if size is not None:
        headers["Content-Length"] = str(size)
    return FileResponse(
        opened(file, name),
        as_attachment=saved,
        filename=name,
        content_type=content_type,
        headers=headers,
    )


def there(row: Any) -> Any:
    """The same row, if its bytes were not let go. Raises Gone, with who decided so and when."""
    if words := gone_words(row):
        raise Gone(
            f"The file “{row.name}” was {words}. What is noted of it stays: {row.size} bytes, "
            f"SHA-256 {row.sha256}."
        )
    return row
