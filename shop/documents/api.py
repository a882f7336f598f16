"""/api/v1/files/: photos and files of a card, a machine, a part ..."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.exceptions import ValidationError
from rest_framework.parsers import MultiPartParser

from shop.api.fields import Body, Choice, Flag, Id, Int, Moment, Out, Query, Text
from shop.api.files import Sent, takes_file
from shop.api.kit import Resource, lists, reads, removes, verb
from shop.api.parsing import JSONBody
from shop.trail import once as kept

from . import actions, queries, serving, uploads
from .subjects import SUBJECTS

KINDS = sorted(SUBJECTS)


class FileOut(Out):
    id = Id()
    subject = Choice(choices=KINDS)
    subject_id = Id()
    root = serializers.CharField()  # type: ignore[assignment]  # a field, not DRF's attribute
    root_id = Id(allow_null=True)
    title = serializers.CharField()
    original_name = serializers.CharField()
    media_type = serializers.CharField()
    size = Int(help_text="Bytes.")
    sha256 = serializers.CharField()
    width = Int(allow_null=True, help_text="Pixels.")
    height = Int(allow_null=True, help_text="Pixels.")
    added_at = Moment()
    added_by = serializers.CharField(source="added_by.name", allow_null=True)
    shown_to_customer = Flag(help_text="A photo that the customer sees by a link.")
    content = serializers.SerializerMethodField(help_text="Where the bytes are.")
    thumbnail = serializers.SerializerMethodField(help_text="Where the small picture is; null without one.")

    def get_content(self, row: Any) -> str:
        return f"/api/v1/files/{row.pk}/content/"

    def get_thumbnail(self, row: Any) -> str | None:
        return f"/api/v1/files/{row.pk}/thumbnail/" if row.thumbnail else None


class FileQuery(Query):
    subject = serializers.ChoiceField(choices=KINDS, required=False)
    subject_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)
    root = serializers.ChoiceField(  # type: ignore[assignment]
        choices=KINDS, required=False, help_text="A card, with its stages' files."
    )
    root_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1, required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        for kind in ("subject", "root"):
            if f"{kind}_id" in attrs and kind not in attrs:
                raise serializers.ValidationError({kind: ["Say what kind of thing the id is of."]})
        return attrs


class FileShownIn(Body):
    shown = Flag()


class FileIn(Body):
    subject = serializers.ChoiceField(choices=KINDS)
    subject_id = serializers.IntegerField(min_value=1, max_value=2**63 - 1)
    title = Text(max_length=160, required=False)
    file = serializers.FileField(
        allow_empty_file=True, max_length=None, help_text=f"One file, at most 15 MB: {uploads.ACCEPTED}."
    )


def _bytes(media_type: str) -> Callable[[Callable[..., HttpResponseBase]], Any]:
    """GET <file>/<method name>/ that answers bytes and needs `files.read`."""

    def decorate(method: Callable[..., HttpResponseBase]) -> Any:
        method.right = "files.read"  # type: ignore[attr-defined]
        method.kit = {"kind": "file"}  # type: ignore[attr-defined]
        routed = action(detail=True, methods=["get"])(method)  # first: it forgets a description made before
        return extend_schema(responses={(200, media_type): OpenApiTypes.BINARY})(routed)

    return decorate


class Files(Resource):
    kind = "file"
    out = FileOut
    parser_classes = (MultiPartParser,)

    @lists("files.read", query=FileQuery, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.attachments(request.user, **query)

    @reads("files.read")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.attachment(pk, request.user)

    @takes_file("files.add", body=FileIn, out=FileOut)
    def create(self, request: Any, given: dict[str, Any], name: str, raw: bytes) -> Sent:
        """Add a file. A picture is kept upright and without what the camera wrote into it; a file that is already
        there is answered, not kept twice."""
        if any(len(files) > 1 for _, files in request.FILES.lists()):
            raise ValidationError({"file": ["Send one file at a time."]})
        checked = uploads.inspect(name, raw)

        def work() -> Any:
            (row,) = actions.add_files(
                given["subject"], given["subject_id"], [checked], title=given.get("title", ""), by=request.user
            )
            return row

        return [kept.dumps(given)], work

    @removes("files.archive")
    def destroy(self, request: Any, pk: int, expect: int) -> None:
        queries.attachment(pk, request.user)
        actions.archive_file(pk, by=request.user)

    @verb("files.show", path="show", body=FileShownIn)
    def show(self, request: Any, body: dict[str, Any], pk: int) -> Any:
        """Tick a photo for the customer, or take the tick away."""
        queries.attachment(pk, request.user)
        return actions.show_customer(pk, by=request.user, **body)

    show.kwargs |= {"parser_classes": (JSONBody,)}

    def _content(self, request: Any, pk: str, *, small: bool) -> HttpResponseBase:
        found = queries.attachment(int(pk), request.user)
        return serving.content(request._request, found, small=small)

    @_bytes("application/octet-stream")
    def content(self, request: Any, pk: str) -> HttpResponseBase:
        """The bytes of the file."""
        return self._content(request, pk, small=False)

    @_bytes("image/jpeg")
    def thumbnail(self, request: Any, pk: str) -> HttpResponseBase:
        """The small picture, a JPEG of at most 480 by 360 pixels."""
        return self._content(request, pk, small=True)


def register(router: Any) -> None:
    router.register("files", Files, basename="files")
