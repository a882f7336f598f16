"""One invented shop in several sizes, all at hand in this process: the default connection leads to the one in use.

with Shops(url, lay) as shops:
    shops.make(size, lambda: grow(job, size))
    shops.use(size)
"""

from __future__ import annotations

import os
import tempfile
import uuid
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from tests.factories.processes import OWN, Shop, Template, database_url

T = TypeVar("T")


class Shops:
    """`server_url` is a PostgreSQL server's, or empty for SQLite."""

    def __init__(self, server_url: str) -> None:
        self.server_url = server_url
        self.folder = Path(tempfile.mkdtemp(prefix="tallybench-bench-"))
        self.names: dict[str, str] = {}
        self.wrappers: dict[str, Any] = {}
        url = self._url("first")
        self._make("first")
        shop = Shop(self.folder, url)
        shop.manage("prepare")
        for name in (*OWN, "TALLYBENCH_DATA"):
            os.environ.pop(name, None)
        os.environ |= {k: v for k, v in shop.environment.items() if k.startswith(("TALLYBENCH_", "DATABASE_URL"))}
        os.environ["DJANGO_SETTINGS_MODULE"] = "shop.config.settings"
        import django

        django.setup()

    def __enter__(self) -> Shops:
        return self

    def __exit__(self, *_: object) -> None:
        import shutil

        from django.db import connections

        for wrapper in (*self.wrappers.values(), connections["default"]):
            wrapper.close()
        for name in self.names.values():
            if self.server_url:
                self._execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
        shutil.rmtree(self.folder, ignore_errors=True)

    def make(self, name: str, fill: Callable[[], T]) -> T:
        """A copy of the first shop under this name, filled and in use."""
        from django.db import connections

        if not self.wrappers:
            self.first = connections["default"]
        self.first.close()
        self._make(name, "first")
        wrapper = connections.create_connection("default")
        wrapper.settings_dict = wrapper.settings_dict | {"NAME": self._place(name)}
        self.wrappers[name] = wrapper
        self.use(name)
        return fill()

    def use(self, name: str) -> None:
        from django.db import connections

        connections["default"] = self.wrappers[name]

    def _url(self, name: str) -> str:
        return database_url(self.server_url, self._database(name))

    def _database(self, name: str) -> str:
        return self.names.setdefault(name, f"tallybench_{uuid.uuid4().hex[:10]}")

    def _place(self, name: str) -> str:
        return self._database(name) if self.server_url else str(self._file(name))

    def _file(self, name: str) -> Path:
        return self.folder / ("tallybench.sqlite3" if name == "first" else f"{self._database(name)}.sqlite3")

    def _make(self, name: str, like: str = "") -> None:
        if self.server_url:
            self._execute(
                f"CREATE DATABASE {self._database(name)}" + (f" TEMPLATE {self._database(like)}" if like else "")
            )
        elif like:
            import sqlite3

            with sqlite3.connect(self._file(like)) as line:
                line.execute("VACUUM INTO ?", [str(self._file(name))])
            line.close()

    def _execute(self, statement: str) -> None:
        Template.execute(self, statement)  # type: ignore[arg-type]
