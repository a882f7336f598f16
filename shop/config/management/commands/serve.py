from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError

from shop.config.server import serve

from .prepare import pending


class Command(BaseCommand):
    help = "Serve the shop: one process with SQLite, or --workers N with PostgreSQL. Stop with Ctrl+C or SIGTERM."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--workers", type=int, metavar="N", help="processes, with PostgreSQL (default: one a core)")

    def handle(self, *args: Any, **options: Any) -> None:
        workers = options["workers"]
        if workers is not None and not 1 <= workers <= 256:
            raise CommandError("--workers takes a whole number from 1 to 256.")
        try:
            behind = pending()
        except DatabaseError as error:
            raise CommandError(f"The database can't be reached: {str(error).strip()}") from error
        if behind or not Path(settings.STATIC_ROOT).is_dir():
            raise CommandError("The database or the static files are not at this version. Run: manage.py prepare")
        serve(
            host=settings.BIND,
            port=settings.PORT,
            workers=workers,
            ready=lambda address: self.stdout.write(f"Tallybench serves at {address}  (Ctrl+C stops it)"),
        )
