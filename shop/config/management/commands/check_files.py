from __future__ import annotations

import hashlib
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from shop.documents.models import Attachment


class Command(BaseCommand):
    help = "Check that every photo and file that the records name is there, and is what it was."

    def handle(self, *args: Any, **options: Any) -> None:
        count, wrong = 0, 0
        for row in Attachment.objects.order_by("pk").iterator(chunk_size=500):
            count += 1
            for stored, digest in ((row.file, row.sha256), (row.thumbnail, "")):
                if not stored:
                    continue
                try:
                    with stored.storage.open(str(stored.name), "rb") as file:
                        found = hashlib.file_digest(file, "sha256").hexdigest()
                except FileNotFoundError:
                    self.stderr.write(f"attachment {row.pk}: {stored.name} is missing")
                    wrong += 1
                else:
                    if digest and found != digest:
                        self.stderr.write(f"attachment {row.pk}: {stored.name} was changed")
                        wrong += 1
        if wrong:
            raise CommandError(f"{wrong} of {count} files are missing or changed.")
        self.stdout.write(f"All {count} files are there and unchanged.")
