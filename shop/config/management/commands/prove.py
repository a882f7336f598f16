from __future__ import annotations

from typing import Any

from django.core.management import call_command, get_commands
from django.core.management.base import BaseCommand, CommandError


class Command(BaseCommand):
    help = (
        "Prove what must always be true: runs every check_... command of the rooms. Exit code 1 when one finds a fault."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        wrong = []
        for name in sorted(get_commands()):
            if not name.startswith("check_"):
                continue
            try:
                call_command(name, stdout=self.stdout, stderr=self.stderr)
            except (CommandError, SystemExit) as error:
                if isinstance(error, CommandError):
                    self.stderr.write(f"{name}: {error}")
                wrong.append(name)
        if wrong:
            raise CommandError("Not right: " + ", ".join(wrong) + ". Don't go on posting before it is found out why.")
        self.stdout.write("All of it is right.")
