"""What every answer says to the browser, and what the settings are unless somebody loosens them."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys

import pytest
from django.test import Client

from .code import ROOT
from .world import World

PATHS = {
    # whatever is said of the shop
    "/": 200, "/cards/": 200, "/cards/{cards}/": 200, "/customers/{customers}/": 200, "/people/": 200, "/me/": 200,
    "/estimates/{estimates}/pdf/": 200, "/cards/{cards}/sheet.pdf": 200, "/files/{files}/": 200, "/export/stock.csv": 200,
    "/api/v1/cards/": 200, "/api/v1/cards/{cards}/": 200, "/api/v1/invoices/{invoices}/pdf/": 200,
    "/api/v1/files/{files}/content/": 200, "/api/v1/exports/stock/csv/": 200,
    # refusals
    "/cards/999999999/": 404, "/no/such/page/": 404, "/api/v1/cards/999999999/": 404, "/api/v1/nothing/": 404,
    "/api/v1/cards/?colour=blue": 400,
}  # fmt: skip
OPEN = {"/sign-in/": 200, "/api/": 200, "/api/v1/openapi.json": 200, "/api/problems/": 200, "/healthz": 200}


def directives(policy: str) -> dict[str, list[str]]:
    return {words[0]: words[1:] for part in policy.split(";") if (words := part.split())}


def judged(answer) -> list[str]:
    """What an answer leaves open."""
    said, wrong = answer.headers, []
    policy = directives(said.get("Content-Security-Policy", ""))
    if policy.get("default-src") != ["'none'"]:
        wrong.append("no default-src 'none'")
    if "unsafe" in said.get("Content-Security-Policy", ""):
        wrong.append("something unsafe is allowed")
    if "sandbox" not in policy:
        if policy.get("frame-ancestors") != ["'none'"] or policy.get("base-uri") != ["'none'"]:
            wrong.append("frames or base not forbidden")
        if policy.get("form-action") != ["'self'"]:
            wrong.append("forms may go elsewhere")
        if not all(
            re.fullmatch(r"'self'|'nonce-[\w-]{20,}'", source) for source in policy.get("script-src", ["none said"])
        ):
            wrong.append("scripts from elsewhere")
    for name, value in (
        ("X-Content-Type-Options", "nosniff"), ("X-Frame-Options", "DENY"), ("Referrer-Policy", "same-origin"),
    ):  # fmt: skip
        if said.get(name) != value:
            wrong.append(f"{name}: {said.get(name)}")
    return wrong


@pytest.mark.django_db
def test_every_answer_is_guarded_and_kept_by_nobody(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    world = World()
    owner = world.client("owner")
    for path, status in PATHS.items():
        where = path.format(**world.ids)
        answer = owner.get(where)
        assert answer.status_code == status, f"{where}: {answer.status_code}"
        assert judged(answer) == [], where
        # what has an ETag is kept by the reader alone and asked for again each time
        assert (
            answer["Cache-Control"] == "private, no-cache"
            if "ETag" in answer
            else "no-store" in answer["Cache-Control"]
        )
    for path, status in OPEN.items():
        answer = Client().get(path)
        assert answer.status_code == status, path
        assert judged(answer) == [], path


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("header", "value"),
    [
        ("Content-Security-Policy", ""),
        ("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'"),
        ("Content-Security-Policy", "default-src 'none'; sandbox; script-src 'unsafe-inline'"),
        ("X-Content-Type-Options", ""),
        ("X-Frame-Options", "SAMEORIGIN"),
        ("Referrer-Policy", "unsafe-url"),
    ],
)
def test_a_gap_is_found(header, value):
    answer = Client().get("/sign-in/")
    assert judged(answer) == []
    answer[header] = value
    assert judged(answer) != []


@pytest.mark.django_db
def test_the_nonce_is_another_each_time():
    policies = {Client().get("/sign-in/")["Content-Security-Policy"] for _ in range(3)}
    assert len(policies) == 3


@pytest.fixture(scope="module")
def production(tmp_path_factory) -> dict:
    """Answers with the settings a shop has unless told otherwise."""
    loosened = ("TALLYBENCH_", "DATABASE_URL", "REDIS_URL", "PORT", "DJANGO_")
    clean = {k: v for k, v in os.environ.items() if not k.startswith(loosened)}
    done = subprocess.run(
        [sys.executable, "-m", "tests.architecture.production"], cwd=ROOT, capture_output=True, text=True, timeout=180,
        env=clean | {"TALLYBENCH_DATA": str(tmp_path_factory.mktemp("production"))}, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.splitlines()[-1])


def test_tls_is_asked_for(production):
    assert production["plain"]["status"] == 301
    assert production["plain"]["headers"]["Location"].startswith("https://")
    assert production["health"]["status"] == 200
    assert production["form"]["headers"]["Strict-Transport-Security"] == "max-age=31536000; includeSubDomains; preload"
    assert production["form"]["headers"]["Cross-Origin-Opener-Policy"] == "same-origin"


def test_cookies_go_over_tls_alone_and_are_no_scripts_business(production):
    assert production["home"]["status"] == 200, "signed in"
    session = production["signed in"]["cookies"]["tallybench_session"]
    assert (session["secure"], session["httponly"], session["samesite"]) == (True, True, "Lax")
    assert 0 < int(session["max-age"]) <= 12 * 3600
    csrf = production["form"]["cookies"]["csrftoken"]
    assert (csrf["secure"], csrf["httponly"], csrf["samesite"]) == (True, True, "Lax")
