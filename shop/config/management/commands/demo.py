from __future__ import annotations

import os
import sys
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from shop.config import demo

# known to everyone who reads this: they exist only in the invented shop, on this machine
PASSWORD = "harbour-light-26"  # noqa: S105
PINS = {"maren": "4170", "pim": "5283", "jory": "6391", "brann": "7402", "tamsin": "8516"}


class Command(BaseCommand):
    help = "Make the invented Saltmarsh Engine Works in the data folder (once) and serve it on this machine."

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.BIND not in ("127.0.0.1", "::1", "localhost"):
            raise CommandError(
                "The demo has published passwords and serves this machine only: leave TALLYBENCH_BIND out."
            )
        with demo.unhurried_collector():
            call_command("prepare", verbosity=0)
            try:
                demo.load(password=PASSWORD, pins=PINS)
            except demo.RealShop as error:
                raise CommandError(str(error)) from error
        self.stdout.write("Saltmarsh Engine Works: an invented shop with invented data. Password of all: " + PASSWORD)
        for person in demo.CAST:
            roles = " and ".join(person.roles)
            self.stdout.write(f"  {roles:<10} {person.username:<8} {person.name:<14} PIN {PINS[person.username]}")
        self.stdout.flush()
        # As a fresh process: the server forks, and the threads that typesetting began while loading don't survive a fork,
        # so that its child would wait for them for ever at the first document.
        os.execv(sys.executable, [sys.executable, sys.argv[0], "serve"])  # noqa: S606 - our own command
