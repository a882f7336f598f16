"""/api/v1/label-papers/, and the labels as PDF below a paper"""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action

from shop.api.fields import Body, Flag, Id, Int, Moment, Number, Out, Query, Text
from shop.api.files import pdf_answer
from shop.api.kit import Resource, check_query, edits, lists, posts, reads, removes
from shop.api.shaping import validated
from shop.kernel.errors import NotFound

from . import actions, picking, printing, queries

_MM: dict[str, Any] = {"places": 2, "digits": 7, "min_value": 0}


class PaperIn(Body):
    name = Text(max_length=60)
    is_roll = Flag(required=False, help_text="A roll: width and height are those of one label, the rest doesn't count.")
    width = Number(**_MM, help_text="Of the sheet, in millimetres.")
    height = Number(**_MM)
    rows = Int(required=False, min_value=1, max_value=50)
    cols = Int(required=False, min_value=1, max_value=20)
    top = Number(**_MM, required=False, help_text="Margin to the first label.")
    left = Number(**_MM, required=False)
    right = Number(**_MM, required=False, allow_null=True, help_text="null: as left.")
    bottom = Number(**_MM, required=False, allow_null=True, help_text="null: as top.")
    gap_x = Number(**_MM, required=False)
    gap_y = Number(**_MM, required=False)


class PaperOut(Out):
    id = Id()
    name = Text(max_length=60)
    is_roll = serializers.BooleanField()
    width = Number(places=2)
    height = Number(places=2)
    rows = Int()
    cols = Int()
    top = Number(places=2)
    left = Number(places=2)
    right = Number(places=2, allow_null=True)
    bottom = Number(places=2, allow_null=True)
    gap_x = Number(places=2)
    gap_y = Number(places=2)
    archived_at = Moment(allow_null=True)
    version = Int()


class PaperQuery(Query):
    archived = serializers.BooleanField(default=False)


class LabelsQuery(serializers.Serializer):
    codes = serializers.CharField(
        max_length=3000, required=False,
        help_text="Bins, parts and lots with commas between them; GKT-041*5 is five. All bins if left out.",
    )  # fmt: skip
    first = serializers.IntegerField(min_value=1, max_value=1000, default=1, help_text="The first place of the sheet.")
    outline = serializers.BooleanField(default=False)


class LabelPapers(Resource):
    kind = "label-paper"
    out = PaperOut

    @lists("labels.print", query=PaperQuery, orders={"name": ("name", "id")})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.papers(**query)

    @reads("labels.print")
    def retrieve(self, request: Any, pk: int) -> Any:
        return queries.paper(pk)

    @posts("labels.edit", body=PaperIn)
    def create(self, request: Any, body: dict[str, Any]) -> Any:
        return actions.add_paper(by=request.user, **body)

    @edits("labels.edit", body=PaperIn)
    def partial_update(self, request: Any, body: dict[str, Any], pk: int, expect: int) -> Any:
        return actions.edit_paper(pk, expect, by=request.user, **body)

    @removes("labels.edit")
    def destroy(self, request: Any, pk: int, expect: int) -> Any:
        actions.archive_paper(pk, expect, by=request.user)

    @extend_schema(parameters=[LabelsQuery], responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    @action(detail=True, methods=["get"], url_path="pdf")
    def pdf(self, request: Any, pk: str) -> HttpResponse:
        """Labels on this paper as PDF."""
        check_query(request, ["codes", "first", "outline"])
        given = validated(LabelsQuery, request.query_params.dict())
        row = queries.paper(int(pk))
        if row is None:
            raise NotFound("There is no such paper.")
        codes = given.get("codes", "").replace(",", "\n")
        picks = picking.read(codes) if codes.strip() else queries.of_all_bins()
        return pdf_answer(printing.pdf(picks, row.paper, first=given["first"], outline=given["outline"]), "labels.pdf")

    pdf.right = "labels.print"  # type: ignore[attr-defined]
    pdf.kit = {"kind": "file"}  # type: ignore[attr-defined]


def register(router: Any) -> None:
    router.register("label-papers", LabelPapers, basename="label-papers")
