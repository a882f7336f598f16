"""/healthz: can this process do its work? For load balancers and containers; holds nothing worth keeping from anyone."""

from __future__ import annotations

import os
import socket
import sys
import time
from pathlib import Path

from django.http import HttpRequest, JsonResponse

SLOW_SECONDS = 15 * 60  # an outbox older than this wants a look, but no restart of the web


def healthz(request: HttpRequest) -> JsonResponse:
    """200 while the database answers; 503 when it doesn't. `outbox` tells how far behind the deliveries are."""
    from django.db import Error

    from shop.trail import queries

    if request.method not in ("GET", "HEAD"):
        return JsonResponse({"status": "use GET"}, status=405, headers={"Allow": "GET, HEAD"})
    try:
        lag = queries.lag()
    except Error:
        return JsonResponse({"status": "down", "database": "unreachable"}, status=503)
    status = "behind" if lag["oldest_seconds"] > SLOW_SECONDS or lag["failed"] else "ok"
    return JsonResponse({"status": status, "database": "ok", "outbox": lag})


healthz.right = None  # type: ignore[attr-defined]
healthz.methods = ("GET",)  # type: ignore[attr-defined]


def main(kind: str) -> int:
    """For container health checks: `python -m shop.config.health web|worker|beat`. 0 when healthy."""
    if kind == "worker":
        import django

        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.config.settings")
        django.setup()
        from shop.config.celery import app

        return 0 if app.control.ping(destination=[f"celery@{socket.gethostname()}"], timeout=5) else 1
    if kind == "beat":
        from shop.config import environment

        schedule = environment.data_folder() / "beat-schedule"
        files = list(Path(schedule.parent).glob(schedule.name + "*"))
        return 0 if any(time.time() - path.stat().st_mtime < 120 for path in files) else 1
    from http.client import HTTPConnection

    host = (os.environ.get("TALLYBENCH_HOSTS") or "localhost").split(",")[0].strip().lstrip(".")
    connection = HTTPConnection("127.0.0.1", int(os.environ.get("PORT") or 8000), timeout=5)
    try:
        connection.request("GET", "/healthz", headers={"Host": host})
        return 0 if connection.getresponse().status == 200 else 1
    except OSError:
        return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1] if len(sys.argv) > 1 else "web"))
