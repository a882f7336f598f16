"""Serves the shop with gunicorn: one process with threads that also drains the outbox (embedded), or several workers."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import CommandError
from django.db import connection
from gunicorn.app.base import BaseApplication

THREADS = 8


class Server(BaseApplication):
    def __init__(self, options: dict[str, Any]) -> None:
        self.options = options
        super().__init__()

    def load_config(self) -> None:
        for name, value in self.options.items():
            self.cfg.set(name, value)

    def load(self) -> Any:
        from .wsgi import application

        return application


def serve(*, host: str, port: int, workers: int | None, ready: Callable[[str], None]) -> None:
    """Serve until SIGTERM or Ctrl+C; requests in hand are finished. `ready(address)` is called once it answers.

    Raises CommandError when the port is taken or the set-up doesn't fit.
    """
    embedded = not settings.REDIS_URL
    one_process = connection.vendor == "sqlite"
    if one_process and workers not in (None, 1):
        raise CommandError(
            "SQLite is served by one process. Leave --workers out, or set DATABASE_URL to a PostgreSQL database."
        )
    _refuse_taken(host, port)
    shown = f"http://{'localhost' if host in ('127.0.0.1', '0.0.0.0', '::', '::1') else host}:{port}/"  # noqa: S104
    options: dict[str, Any] = {
        "bind": f"[{host}]:{port}" if ":" in host else f"{host}:{port}",
        "graceful_timeout": 20,
        "timeout": 90,
        "control_socket_disable": True,
        "worker_tmp_dir": "/dev/shm" if Path("/dev/shm").is_dir() else None,  # noqa: S108 - gunicorn's heartbeat file
        "loglevel": "warning",
        "when_ready": lambda server: ready(shown),
    }
    if one_process:
        options |= {"worker_class": "gthread", "workers": 1, "threads": THREADS}
    else:
        options |= {"worker_class": "sync", "workers": workers or max(2, os.cpu_count() or 2)}
    if embedded:
        options |= {"post_worker_init": _start_draining, "worker_exit": _stop_draining}
    connection.close()  # no connection may be shared over the fork
    Server(options).run()


def _start_draining(worker: Any) -> None:
    from shop.trail import wake

    wake.start_draining()


def _stop_draining(server: Any, worker: Any) -> None:
    from shop.trail import wake

    wake.stop()


def _refuse_taken(host: str, port: int) -> None:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise CommandError(
                f"Port {port} on {host} can't be used ({error.strerror}). Stop what uses it, or choose another: "
                f"PORT={port + 1 if port < 65535 else 8000}."
            ) from error
