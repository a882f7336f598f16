from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from shop.config.keeping import KeepingError, backup


class Command(BaseCommand):
    help = "Write the database and all photos and files into one new FILE. People can go on working meanwhile."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", help="such as /backups/tallybench-monday.tar.gz")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            made = backup(Path(options["file"]))
        except KeepingError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"{made.path}: {made.size / 1e6:.1f} MB, {made.files} files. Keep it in another building.")
