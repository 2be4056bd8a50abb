"""A file that is too large is dropped while it arrives, before it fills memory or disk."""

from typing import Any

from django.core.files.uploadhandler import FileUploadHandler, SkipFile
from django.http import HttpRequest

from itm.registry.files import LARGEST, clean_name


class BoundedUploads(FileUploadHandler):
    """First of the handlers: counts, and passes on what is small enough.

    The rest of the form is still read, so what was typed stays; the page names the file.
    """

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        super().new_file(*args, **kwargs)
        self.taken = 0

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes:
        self.taken += len(raw_data)
        if self.taken > LARGEST:
            refused_files(self.request).append(clean_name(self.file_name or ""))
            raise SkipFile
        return raw_data

    def file_complete(self, file_size: int) -> None:
        return None


def refused_files(request: Any) -> list[str]:
    """Names of the files of this request that were dropped."""
    if not hasattr(request, "refused_files"):
        request.refused_files = []
    names: list[str] = request.refused_files
    return names


def was_dropped(request: HttpRequest) -> list[str]:
    """Reads the whole form first: only then it is known."""
    _ = request.FILES
    return refused_files(request)
