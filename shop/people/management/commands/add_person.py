"""The first owner of a new place, or anyone else, without the pages."""

from __future__ import annotations

import getpass
import os
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from shop.kernel.errors import DomainError
from shop.kernel.rights import Role
from shop.kernel.text import clean_line
from shop.people.actions.staff import add_person

VARIABLE = "TALLYBENCH_PASSWORD"


class Command(BaseCommand):
    help = f"Add a member of staff. The password is asked for, or taken from the environment variable {VARIABLE}."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username", help="small letters, digits, dots, dashes")
        parser.add_argument("--name", required=True, help='as it stands in histories, such as "Maren Holt"')
        parser.add_argument(
            "--role", action="append", choices=list(Role), required=True, help="give it again for a second role"
        )
        parser.add_argument("--email", default="")

    def handle(self, *args: Any, **options: Any) -> None:
        password = os.environ.get(VARIABLE) or self._ask()
        try:
            person = add_person(
                username=options["username"], name=clean_line(options["name"], field="name", required=True, max_length=120),
                roles=options["role"], email=options["email"], password=password, password_given=False, by=None,
            )  # fmt: skip
        except DomainError as error:
            where = ", ".join(error.fields)
            raise CommandError(f"{where}: {error.message}" if where else error.message) from error
        self.stdout.write(f"{person.name} can sign in as {person.username} ({', '.join(person.roles)}).")

    def _ask(self) -> str:
        try:
            first = getpass.getpass("Password (at least 10 characters): ")
            if first != getpass.getpass("Again: "):
                raise CommandError("The two passwords don't match. Nothing was added.")
        except EOFError as error:
            raise CommandError(f"There is no terminal to ask on. Put the password into {VARIABLE}.") from error
        return first
