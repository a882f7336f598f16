"""The real processes of one shop, started by hand on free ports: server, Celery worker, beat.

    with Shop.copy_of(template, redis=broker) as shop:
        shop.serve(workers=2)
        shop.client("tamsin").post("draws/", {**shop.ids, "quantity": "2"})

They run with the project's own settings, as they would in the shop; nothing of the test process is shared with them.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import uuid
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

import requests

from .servers import Redis, answers, free_port, wait_until

ROOT = Path(__file__).resolve().parents[2]
OWN = ("DATABASE_URL", "REDIS_URL", "PORT", "DJANGO_SETTINGS_MODULE", "DJANGO_ALLOW_ASYNC_UNSAFE")


class Template:
    """A prepared shop with the cast and a token for each, made once and copied for every test."""

    def __init__(self, server_url: str = "") -> None:
        self.server_url = server_url  # of PostgreSQL; empty: SQLite
        self.folder = Path(tempfile.mkdtemp(prefix="tallybench-template-"))
        self.database = f"tallybench_{uuid.uuid4().hex[:10]}"
        if server_url:
            self.execute(f"CREATE DATABASE {self.database}")
        shop = Shop(self.folder, database_url(server_url, self.database))
        shop.manage("prepare")
        made = subprocess.run(
            [sys.executable, "-m", "tests.factories.cast"], env=shop.environment, cwd=ROOT, text=True,
            stdin=subprocess.DEVNULL, capture_output=True, check=False, timeout=120,
        )  # fmt: skip
        if made.returncode:
            raise RuntimeError(made.stderr)
        told = json.loads(made.stdout)
        self.tokens: dict[str, str] = told["tokens"]
        self.ids: dict[str, int] = told["ids"]

    def execute(self, statement: str) -> None:
        import psycopg

        # the database that DATABASE_URL names need not exist: tests make their own beside it
        with psycopg.connect(database_url(self.server_url, "postgres"), autocommit=True) as connection:
            connection.execute(statement)

    def close(self) -> None:
        if self.server_url:
            self.execute(f"DROP DATABASE IF EXISTS {self.database} WITH (FORCE)")
        shutil.rmtree(self.folder, ignore_errors=True)


def database_url(server_url: str, name: str) -> str:
    return urlunsplit(urlsplit(server_url)._replace(path="/" + name)) if server_url else ""


class Client:
    """The REST API over a real connection, as one person's program. Retries are the caller's matter."""

    def __init__(self, address: str, token: str) -> None:
        self.address = address
        self.session = requests.Session()
        self.session.headers["Authorization"] = f"Bearer {token}"

    def get(self, path: str, **query: Any) -> requests.Response:
        return self.session.get(f"{self.address}/api/v1/{path}", params=query, timeout=60)

    def post(self, path: str, body: Any = None, *, key: str | None = "new") -> requests.Response:
        headers = {} if key is None else {"Idempotency-Key": str(uuid.uuid4()) if key == "new" else key}
        return self.session.post(f"{self.address}/api/v1/{path}", json=body or {}, headers=headers, timeout=60)

    def patch(self, path: str, body: Any) -> requests.Response:
        return self._on_the_newest("PATCH", path, json=body)

    def delete(self, path: str) -> requests.Response:
        return self._on_the_newest("DELETE", path)

    def _on_the_newest(self, method: str, path: str, **more: Any) -> requests.Response:
        headers = {"If-Match": self.get(path).headers["ETag"]}
        return self.session.request(method, f"{self.address}/api/v1/{path}", headers=headers, timeout=60, **more)


class Shop:
    def __init__(self, folder: Path, url: str = "", *, redis: Redis | None = None, **settings: str) -> None:
        self.folder, self.url, self.port = folder, url, free_port()
        self.tokens: dict[str, str] = {}
        self.ids: dict[str, int] = {}
        self.template: Template | None = None
        self.processes: dict[str, subprocess.Popen] = {}
        clean = {k: v for k, v in os.environ.items() if k not in OWN and not k.startswith("TALLYBENCH_")}
        self.environment = clean | {
            "TALLYBENCH_DATA": str(folder),
            "TALLYBENCH_PLAIN_HTTP": "1",
            "PORT": str(self.port),
            "PYTHONUNBUFFERED": "1",
        }
        if url:
            self.environment["DATABASE_URL"] = url
        if redis:
            self.environment["REDIS_URL"] = redis.url
        self.environment |= settings

    @classmethod
    def copy_of(cls, template: Template, *, redis: Redis | None = None, **settings: str) -> Shop:
        folder = Path(tempfile.mkdtemp(prefix="tallybench-shop-"))
        shutil.copytree(template.folder, folder, dirs_exist_ok=True)
        name = f"tallybench_{uuid.uuid4().hex[:10]}"
        if template.server_url:
            template.execute(f"CREATE DATABASE {name} TEMPLATE {template.database}")
        shop = cls(folder, database_url(template.server_url, name), redis=redis, **settings)
        shop.template, shop.tokens, shop.ids = template, template.tokens, template.ids
        return shop

    def __enter__(self) -> Shop:
        return self

    def __exit__(self, *_: object) -> None:
        for name in list(self.processes):
            self.stop(name)
        if self.template and self.url:
            self.template.execute(f"DROP DATABASE IF EXISTS {urlsplit(self.url).path[1:]} WITH (FORCE)")
        shutil.rmtree(self.folder, ignore_errors=True)

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def client(self, username: str) -> Client:
        return Client(self.address, self.tokens[username])

    def manage(self, *arguments: str, check: bool = True, timeout: float = 180) -> subprocess.CompletedProcess:
        done = subprocess.run(
            [sys.executable, "manage.py", *arguments], env=self.environment, cwd=ROOT, text=True, check=False,
            stdin=subprocess.DEVNULL, capture_output=True, timeout=timeout,
        )  # fmt: skip
        if check and done.returncode:
            raise AssertionError(f"manage.py {' '.join(arguments)}: {done.stdout}{done.stderr}")
        return done

    def start(self, name: str, *arguments: str, program: Sequence[str] = ("manage.py",)) -> subprocess.Popen:
        with (self.folder / f"{name}.log").open("ab") as log:
            self.processes[name] = subprocess.Popen(
                [sys.executable, *program, *arguments], env=self.environment, cwd=ROOT, stdin=subprocess.DEVNULL,
                stdout=log, stderr=subprocess.STDOUT, start_new_session=True,
            )  # fmt: skip
        return self.processes[name]

    def serve(self, workers: int | None = None) -> None:
        process = self.start("serve", "serve", *([] if workers is None else ["--workers", str(workers)]))
        self._until(lambda: process.poll() is not None or answers(self.port), "the server answers")
        self._until(lambda: process.poll() is not None or self.healthy(), "the server is healthy")
        if process.poll() is not None:
            raise AssertionError(f"the server ended: {self.log('serve')}")

    def demo(self, *program: str) -> None:
        """Load the invented shop and serve it, as the README's first command does, or by another `program`."""
        process = self.start("serve", program=program) if program else self.start("serve", "demo")
        self._until(lambda: process.poll() is not None or (answers(self.port) and self.healthy()), "the demo", 400)
        if process.poll() is not None:
            raise AssertionError(f"the demo ended: {self.log('serve')}")

    def healthy(self) -> bool:
        try:
            return requests.get(f"{self.address}/healthz", timeout=10).ok
        except requests.ConnectionError:
            return False

    def worker(self, *arguments: str) -> None:
        self.start("worker", "worker", *arguments)
        self._until(lambda: "ready" in self.log("worker"), "the worker is ready")

    def beat(self) -> None:
        self.start("beat", "beat")

    def _until(self, true: Any, what: str, seconds: float = 60) -> None:
        try:
            wait_until(true, seconds, what)
        except AssertionError as error:
            logs = {name: self.log(name)[-3000:] for name in self.processes}
            raise AssertionError(f"{error}\n{logs}") from None

    def log(self, name: str) -> str:
        path = self.folder / f"{name}.log"
        return path.read_text(errors="replace") if path.exists() else ""

    def children(self, name: str) -> list[int]:
        """Process ids below a started process: gunicorn's or Celery's workers."""
        parent, found = self.processes[name].pid, []
        for status in Path("/proc").glob("[0-9]*/stat"):
            try:
                fields = status.read_text().rpartition(")")[2].split()
            except OSError:
                continue
            if int(fields[1]) == parent:
                found.append(int(status.parent.name))
        return found

    def kill(self, name: str) -> None:
        """kill -9 of the process and everything it started."""
        process = self.processes.pop(name)
        os.killpg(process.pid, signal.SIGKILL)
        process.wait(20)

    def stop(self, name: str) -> int:
        """Stop it as a service manager would; killed only if it doesn't listen. Answers its exit code."""
        process = self.processes[name]
        if process.poll() is None:
            process.terminate()
        try:
            process.wait(40)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait(20)
        del self.processes[name]
        return process.returncode

    def sql(self, query: str, *values: Any) -> list[tuple]:
        """Rows straight from the database, past all of the project's code. Placeholders are %s."""
        if not self.url:
            with sqlite3.connect(self.folder / "tallybench.sqlite3", timeout=30) as connection:
                return connection.execute(query.replace("%s", "?"), values).fetchall()
        import psycopg

        with psycopg.connect(self.url, autocommit=True) as connection:
            cursor = connection.execute(query, values)
            return cursor.fetchall() if cursor.description else []

    def until_sql(self, query: str, expected: Any, seconds: float = 60) -> None:
        """Wait until the query's first value is `expected`."""
        last: list[Any] = [None]

        def true() -> bool:
            last[0] = self.sql(query)[0][0]
            return last[0] == expected

        try:
            self._until(true, query, seconds)
        except AssertionError as error:
            raise AssertionError(f"{last[0]!r}, not {expected!r}: {error}") from None

    def mails(self) -> list[str]:
        """What the mail backend wrote into the data folder."""
        return [path.read_text() for path in sorted((self.folder / "mail").glob("*.log"))]
