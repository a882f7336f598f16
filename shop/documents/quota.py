"""Stops an upload while it comes in, before it fills the disk."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import RequestDataTooBig
from django.core.files.uploadhandler import FileUploadHandler

MAX_REQUEST = 64 * 1024 * 1024
"""Bytes of all files of one request."""


class Quota(FileUploadHandler):
    """First of FILE_UPLOAD_HANDLERS: counts, keeps nothing. Raises RequestDataTooBig (413)."""

    def __init__(self, request: Any = None) -> None:
        super().__init__(request)
        self.total = 0

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes:
        self.total += len(raw_data)
        if self.total > MAX_REQUEST:
            raise RequestDataTooBig(f"At most {MAX_REQUEST // 1048576} MB can be sent at once.")
        return raw_data

    def file_complete(self, file_size: int) -> None:
        return None
