"""Files that the API takes in, and documents that API and pages hand out."""

from __future__ import annotations

import functools
import hashlib
from collections.abc import Callable, Sequence
from typing import Any

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.exceptions import ValidationError

from shop.trail import once as kept

from .auth import scope_of
from .kit import KEY_HEADER, Resource, check_query, etag_of, kept_answer

Sent = tuple[Sequence[str], Callable[[], Any]]  # what tells two sendings apart, and the work that keeps the file


def takes_file(
    right: str, *, body: type[serializers.Serializer], out: type[serializers.BaseSerializer]
) -> Callable[[Callable[..., Sent]], Any]:
    """POST of multipart/form-data with one `file`, kept once per Idempotency-Key and answered with 201.

    The method gets the other fields, the file's name and its bytes. It looks at the file, outside the transaction, and answers
    what besides name and bytes tells one sending from another, and the work that keeps it and answers what is shown.
    """

    def decorate(method: Callable[..., Sent]) -> Any:
        @functools.wraps(method)
        def wrapper(self: Resource, request: Any) -> HttpResponse:
            key = kept.check_key(request.headers.get("Idempotency-Key"))
            check_query(request, [])
            data = request.data
            form = body(data=data.dict() if hasattr(data, "dict") else data)
            form.is_valid(raise_exception=True)
            given = dict(form.validated_data)
            upload = given.pop("file")
            raw = upload.read()
            facts, work = method(self, request, given, upload.name, raw)
            digest = hashlib.sha256(raw).hexdigest()

            def posted() -> kept.Kept:
                row = work()
                shown = self.represent(row)
                headers = {"ETag": etag_of(row, shown), "Location": f"{request.path}{row.pk}/"}
                return kept.Kept(201, headers, kept.dumps(shown))

            print_ = kept.fingerprint(request.path, *facts, upload.name, digest)
            return kept_answer(kept.once(scope_of(request), key, print_, posted))

        wrapper.right = right  # type: ignore[attr-defined]
        wrapper.kit = {"kind": "upload", "out": out, "status": 201}  # type: ignore[attr-defined]
        return extend_schema(parameters=[KEY_HEADER], request={"multipart/form-data": body}, responses={201: out})(
            wrapper
        )

    return decorate


def downloads(
    right: str, path: str = "pdf", media_type: str = "application/pdf"
) -> Callable[[Callable[..., tuple[bytes, str]]], Any]:
    """GET <record>/<path>/: the method answers the bytes and the name of the file."""

    def decorate(method: Callable[..., tuple[bytes, str]]) -> Any:
        def download(self: Resource, request: Any, pk: str) -> HttpResponse:
            if request.query_params:
                raise ValidationError({name: ["This parameter is not known here."] for name in request.query_params})
            return file_answer(*method(self, request, pk=int(pk)), media_type)

        download.__name__, download.__doc__ = method.__name__, method.__doc__
        download.right = right  # type: ignore[attr-defined]
        download.kit = {"kind": "file"}  # type: ignore[attr-defined]
        routed = action(detail=True, methods=["get"], url_path=path, url_name=path)(download)
        return extend_schema(responses={(200, media_type): OpenApiTypes.BINARY})(routed)

    return decorate


def pdf_answer(data: bytes, name: str) -> HttpResponse:
    return file_answer(data, name, "application/pdf")


def file_answer(data: bytes, name: str, media_type: str) -> HttpResponse:
    """A document to look at (PDF) or to keep."""
    response = HttpResponse(data, content_type=media_type)
    how = "inline" if media_type == "application/pdf" else "attachment"
    response["Content-Disposition"] = f'{how}; filename="{name}"'
    response["X-Content-Type-Options"] = "nosniff"
    response["Cache-Control"] = "private, no-store"
    return response
