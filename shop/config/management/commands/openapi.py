from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from drf_spectacular.generators import SchemaGenerator

from shop.config.environment import ROOT

PATH = ROOT / "shop" / "api" / "openapi.json"


class Command(BaseCommand):
    help = "Write the description of the REST API to shop/api/openapi.json, or --check that it is the present one."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--check", action="store_true", help="write nothing; fail when the file is out of date")

    def handle(self, *args: Any, **options: Any) -> None:
        schema = SchemaGenerator().get_schema(request=None, public=True)
        text = json.dumps(schema, indent=1, sort_keys=True, ensure_ascii=False, default=str) + "\n"
        if options["check"]:
            if not PATH.exists() or PATH.read_text() != text:
                raise CommandError("shop/api/openapi.json is not what the code offers. Run: manage.py openapi")
            return
        PATH.write_text(text)
