"""Stored files on their way to a person: as what they are, run as nothing, and missed in words."""

from typing import Any

from django.http import FileResponse

from itm.core.errors import Gone
from itm.retention.letting import gone_words

# A file is looked at as what it is and runs nothing, whatever its bytes would be elsewhere.
SEALED_OFF = "default-src 'none'; sandbox"


def served(
    file: Any, content_type: str, name: str, *, saved: bool, cache: str = "private, no-cache",
    size: int | None = None,
) -> FileResponse:  # fmt: skip
    """In chunks: it may be larger than the memory of the server. `saved`: handed over to be saved
    and not opened. Raises Gone where the store has lost it."""
    try:
        opened = file.open("rb")
    except OSError as lost:
        raise Gone(
            f"The file “{name}” is no longer in the store, and nobody decided to let it go. What "
            "is noted of it stays. Tell whoever runs this server: a backup may hold it, and so "
            "may an archive of the site."
        ) from lost
    headers = {
        "Content-Security-Policy": SEALED_OFF,
        "X-Content-Type-Options": "nosniff",
        "Cache-Control": cache,
    }
    if size is not None:
        headers["Content-Length"] = str(size)
    return FileResponse(
        opened, as_attachment=saved, filename=name, content_type=content_type, headers=headers
    )


def there(row: Any) -> Any:
    """The same row, if its bytes were not let go. Raises Gone, with who decided so and when."""
    if words := gone_words(row):
        raise Gone(
            f"The file “{row.name}” was {words}. What is noted of it stays: {row.size} bytes, "
            f"SHA-256 {row.sha256}."
        )
    return row
