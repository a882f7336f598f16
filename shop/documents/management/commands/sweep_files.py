from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.core.files.storage import default_storage
from django.core.management.base import BaseCommand

from shop.documents.models import Attachment
from shop.kernel import clock


class Command(BaseCommand):
    help = (
        "Name files in the store that no attachment names (left by a write that was undone), and attachments whose "
        "file is missing. --delete removes the former once they are a day old."
    )

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("--delete", action="store_true")

    def handle(self, *args: Any, **options: Any) -> None:
        named = {name for pair in Attachment.objects.values_list("file", "thumbnail") for name in pair if name}
        stored = set(_stored("attachments"))
        for name in sorted(named - stored):
            self.stdout.write(f"missing: {name}")
        before = clock.now() - timedelta(days=1)
        for name in sorted(stored - named):
            old = default_storage.get_modified_time(name) < before
            if options["delete"] and old:
                default_storage.delete(name)
            self.stdout.write(f"{'removed' if options['delete'] and old else 'spare'}: {name}")


def _stored(folder: str) -> list[str]:
    if not default_storage.exists(folder):
        return []
    folders, files = default_storage.listdir(folder)
    found = [f"{folder}/{name}" for name in files]
    for inner in folders:
        found += _stored(f"{folder}/{inner}")
    return found
