"""PostgreSQL and Redis of a test's own, on free ports, so that it may stop and kill them.

Also a command, for the checks of a whole run:  python -m tests.factories.servers FOLDER  prints two `export` lines and
the process ids, and leaves both running.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_until(true: Callable[[], object], seconds: float, what: str) -> None:
    ends = time.monotonic() + seconds
    while not true():
        if time.monotonic() > ends:
            raise AssertionError(f"after {seconds} s still not: {what}")
        time.sleep(0.05)


def answers(port: int) -> bool:
    with socket.socket() as probe:
        probe.settimeout(0.5)
        return probe.connect_ex(("127.0.0.1", port)) == 0


class Postgres:
    """A cluster in a folder of its own. Trusts everyone on this machine; gone with its folder."""

    def __init__(self, *, settings: tuple[str, ...] = ("fsync=off",)) -> None:
        programs = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: int(p.parent.name))
        self.programs = programs[-1] if programs else Path(shutil.which("initdb") or "initdb").parent
        # the server refuses to run as root, and its user must be able to reach the folder
        self.user = "postgres" if os.geteuid() == 0 else None
        self.folder = Path(tempfile.mkdtemp(prefix="tallybench-pg-", dir="/tmp"))
        if self.user:
            shutil.chown(self.folder, self.user)
        self.port = free_port()
        self.settings = settings
        self._run(
            "initdb",
            "-D",
            str(self.folder / "data"),
            "-U",
            "postgres",
            "-A",
            "trust",
            "-N",
            "-E",
            "UTF8",
            "--locale=C.UTF-8",
        )
        self.start()

    def _run(self, program: str, *arguments: str) -> str:
        done = subprocess.run(
            [str(self.programs / program), *arguments], user=self.user, cwd="/", text=True, timeout=90,
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False,
        )  # fmt: skip
        if done.returncode:
            raise RuntimeError(f"{program}: {done.stdout}")
        return done.stdout

    def start(self) -> None:
        options = " ".join(f"-c {each}" for each in self.settings)
        options += f" -p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={self.folder}"
        options += " -c max_connections=120"
        log = str(self.folder / "log")
        data = str(self.folder / "data")
        self._run("pg_ctl", "-D", data, "-o", options, "-l", log, "-w", "-t", "60", "start")

    @property
    def pid(self) -> int:
        return int((self.folder / "data" / "postmaster.pid").read_text().split()[0])

    def url(self, database: str = "postgres") -> str:
        return f"postgres://postgres@127.0.0.1:{self.port}/{database}"

    def close(self) -> None:
        with contextlib.suppress(RuntimeError):
            self._run("pg_ctl", "-D", str(self.folder / "data"), "-m", "immediate", "-w", "stop")
        shutil.rmtree(self.folder, ignore_errors=True)


class Redis:
    """A broker that keeps nothing, and can be stopped and started again on its port."""

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="tallybench-redis-"))
        self.port = free_port()
        self.process: subprocess.Popen | None = None
        self.start()

    def start(self) -> None:
        self.process = subprocess.Popen(
            ["redis-server", "--port", str(self.port), "--bind", "127.0.0.1", "--save", "", "--appendonly", "no"],
            cwd=self.folder, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        wait_until(lambda: answers(self.port), 15, "Redis answers")

    def stop(self) -> None:
        if self.process:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait(10)
            self.process = None

    @property
    def url(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"

    def close(self) -> None:
        self.stop()
        shutil.rmtree(self.folder, ignore_errors=True)


@contextlib.contextmanager
def running(kind: type) -> Iterator:
    server = kind()
    try:
        yield server
    finally:
        server.close()


if __name__ == "__main__":
    postgres, redis = Postgres(), Redis()
    database = sys.argv[1] if len(sys.argv) > 1 else "tallybench"
    print(f"export DATABASE_URL={postgres.url(database)}")
    print(f"export REDIS_URL={redis.url}")
    print(f"SERVERS='{postgres.pid} {redis.process.pid}'")
    print(f"SERVER_FOLDERS='{postgres.folder} {redis.folder}'")
