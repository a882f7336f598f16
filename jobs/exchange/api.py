"""/api/v1/imports/: send a file, look at what was found, have it written. Exports are at /export/<table>.csv|xlsx and here."""

from __future__ import annotations

from typing import Any

from django.http import StreamingHttpResponse
from django.http.response import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.parsers import JSONParser, MultiPartParser

from shop.api.fields import AnyJson, Body, Choice, Flag, Id, Int, Moment, Out
from shop.api.files import Sent, takes_file
from shop.api.kit import Resource, lists, reads, verb
from shop.kernel.rights import require
from shop.ui.sheets import write_csv

from . import actions, queries
from .kinds import KINDS, READS, kind_of
from .models import ImportRun


class ImportIn(Body):
    kind = serializers.ChoiceField(choices=list(KINDS))
    decimal_comma = serializers.ChoiceField(
        choices=["auto", "point", "comma"], required=False, help_text="auto: semicolons mean decimal commas."
    )
    file = serializers.FileField(allow_empty_file=True, max_length=None, help_text="CSV in UTF-8, or XLSX; 15 MB.")


class ImportRowOut(Out):
    id = Id()
    kind = Choice(choices=list(KINDS))
    file_name = serializers.CharField()
    decimal_comma = Flag()
    rows = Int()
    bad = Int(help_text="Rows with a finding.")
    state = serializers.CharField(help_text="In words.")
    created_at = Moment()
    started_at = Moment(allow_null=True)
    done_at = Moment(allow_null=True)
    next_row = Int(help_text="How far it is.")
    written = Int()


class ImportOut(ImportRowOut):
    findings = serializers.ListField(child=AnyJson(), help_text="Row, column and text; the first 2,000.")
    refused = serializers.ListField(child=AnyJson(), help_text="Refused while writing: somebody else was quicker.")


class StartIn(Body):
    only_good = Flag(default=False, help_text="Leave out the rows with a finding.")


class Imports(Resource):
    kind = "import"
    out = ImportOut
    parser_classes = (MultiPartParser, JSONParser)

    @lists("import.run", out=ImportRowOut, orders={"newest": ("-id",), "oldest": ("id",)})
    def list(self, request: Any, query: dict[str, Any]) -> Any:
        return queries.runs()

    @reads("import.run")
    def retrieve(self, request: Any, pk: int) -> ImportRun | None:
        found = queries.run(pk)
        if found is not None:
            require(request.user, kind_of(found.kind).right)
        return found

    @takes_file("import.run", body=ImportIn, out=ImportOut)
    def create(self, request: Any, given: dict[str, Any], name: str, raw: bytes) -> Sent:
        """Check a whole file and keep it with what was found. Nothing of it is written yet."""
        kind, comma = given["kind"], {"auto": None, "point": False, "comma": True}[given.get("decimal_comma", "auto")]
        checked = actions.check_file(by=request.user, kind=kind, name=name, raw=raw, decimal_comma=comma)
        return [kind, str(comma)], lambda: actions.keep_file(checked, by=request.user)

    @verb("import.run", path="start", body=StartIn)
    def start(self, request: Any, body: dict[str, Any], pk: int) -> ImportRun:
        """Have the rows written in the background; GET the import to see how far it is."""
        return actions.start_import(pk, by=request.user, only_good=body["only_good"])


class Exports(Resource):
    """A whole table as CSV, with the headings that an import takes."""

    kind = "export"
    lookup_value_regex = "[a-z]{1,20}"

    def csv(self, request: Any, pk: str) -> HttpResponseBase:
        """The table as CSV in UTF-8."""
        table = kind_of(pk)
        require(request.user, READS[table.name])
        response = StreamingHttpResponse(
            write_csv([c.name for c in table.columns], table.export()), content_type="text/csv; charset=utf-8"
        )
        response["Content-Disposition"] = f'attachment; filename="{table.name}.csv"'
        return response

    csv.right = "export.run"  # type: ignore[attr-defined]
    csv.kit = {"kind": "file"}  # type: ignore[attr-defined]
    csv = extend_schema(responses={(200, "text/csv"): OpenApiTypes.BINARY})(
        action(detail=True, methods=["get"], url_path="csv")(csv)
    )


def register(router: Any) -> None:
    router.register("imports", Imports, basename="imports")
    router.register("exports", Exports, basename="exports")
