"""Documents that the API and the pages hand out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.exceptions import ValidationError

from .kit import Resource


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
