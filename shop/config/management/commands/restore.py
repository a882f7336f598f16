from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from shop.config.keeping import KeepingError, restore


class Command(BaseCommand):
    help = "Put a backup FILE into an empty place (DATABASE_URL, TALLYBENCH_DATA), bring it to this version, prove it."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            manifest = restore(Path(options["file"]))
        except KeepingError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"Restored the state of {manifest['made_at']}.")
        call_command("prepare", verbosity=0)
        call_command("prove", stdout=self.stdout, stderr=self.stderr)
