"""A kept file as an HTTP answer that can do nothing but be looked at or saved. Shared by pages and API."""

from __future__ import annotations

import logging

from django.http import FileResponse, HttpRequest, HttpResponseNotModified
from django.http.response import HttpResponseBase
from django.utils.http import content_disposition_header, parse_etags

from shop.kernel.errors import NotFound

from .models import Attachment
from .queries import INLINE

log = logging.getLogger("tallybench.documents")


def content(request: HttpRequest, attachment: Attachment, *, small: bool = False) -> HttpResponseBase:
    """The file, or its thumbnail. Rights were checked by whoever found `attachment`. Raises NotFound."""
    stored = attachment.thumbnail if small else attachment.file
    if not stored:
        raise NotFound("This file has no small picture.")
    etag = f'"{attachment.sha256}{"-small" if small else ""}"'
    response: HttpResponseBase
    if etag in parse_etags(request.headers.get("If-None-Match", "")):
        response = HttpResponseNotModified()
    else:
        try:
            handle = stored.storage.open(str(stored.name), "rb")
        except FileNotFoundError as error:
            log.error("file %s of attachment %s is missing", stored.name, attachment.pk)
            raise NotFound("This file is missing in the store. Restore it from the backup.") from error
        response = FileResponse(handle, content_type="image/jpeg" if small else _type_of(attachment))
        response["Content-Disposition"] = str(
            content_disposition_header(attachment.media_type not in INLINE, _name_of(attachment, small))
        )
    response["ETag"] = etag
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response["Cross-Origin-Resource-Policy"] = "same-origin"
    # Rights can be taken away, so the browser asks again each time; unchanged costs no bytes.
    response["Cache-Control"] = "private, no-cache"
    return response


def _type_of(attachment: Attachment) -> str:
    if attachment.media_type.startswith("text/"):
        return f"{attachment.media_type}; charset=utf-8"
    return attachment.media_type


def _name_of(attachment: Attachment, small: bool) -> str:
    """The name it came with, under the ending of what it is now."""
    stem = attachment.original_name.rsplit(".", 1)[0] or "file"
    extension = "jpg" if small else str(attachment.file.name).rsplit(".", 1)[-1]
    return f"{stem}.{extension}"
