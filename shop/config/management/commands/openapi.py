from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from drf_spectacular.generators import SchemaGenerator

from shop.config import refusals
from shop.config.environment import ROOT

PATH = ROOT / "shop" / "api" / "openapi.json"
REFUSALS = ROOT / "shop" / "api" / "refusals.json"


class Command(BaseCommand):
    help = (
        "Write the description of the REST API to shop/api/openapi.json and what its problems mean to "
        "shop/api/refusals.json, or --check that they are the present ones."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--check", action="store_true", help="write nothing; fail when a file is out of date")

    def handle(self, *args: Any, **options: Any) -> None:
        schema = SchemaGenerator().get_schema(request=None, public=True)
        self._keep(PATH, schema, options["check"])
        self._keep(REFUSALS, refusals.collect(ROOT), options["check"])

    def _keep(self, path: Path, data: Any, check: bool) -> None:
        text = json.dumps(data, indent=1, sort_keys=True, ensure_ascii=False, default=str) + "\n"
        if not check:
            path.write_text(text)
        elif not path.exists() or path.read_text() != text:
            raise CommandError(f"{path.relative_to(ROOT)} is not what the code offers. Run: manage.py openapi")
