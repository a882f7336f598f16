"""No container engine runs in the checks, so image and compose file are read: what they name must exist, what they start
is what the race tests start by hand."""

from __future__ import annotations

import re

import pytest
import yaml
from django.core.management import get_commands

from tests.factories.processes import ROOT

DOCKER = ROOT / "docker"


@pytest.fixture(scope="module")
def compose():
    return yaml.safe_load((DOCKER / "compose.yml").read_text())


@pytest.fixture(scope="module")
def image():
    lines = (DOCKER / "Dockerfile").read_text().replace("\\\n", " ").splitlines()
    return [line.split(maxsplit=1) for line in lines if line.strip() and not line.startswith("#")]


OURS = ("prepare", "web", "worker", "beat")


def test_the_image_copies_what_exists_and_all_that_is_needed(image):
    copied = {each.split()[0] for word, each in image if word == "COPY" and not each.startswith("--from")}
    assert copied == {"requirements.lock", "manage.py", "shop", "inventory", "jobs"}
    assert all((ROOT / name).exists() for name in copied)


def test_the_image_runs_locked_packages_as_nobody_special(image):
    text = " ".join(each for _, each in image)
    assert "--require-hashes -r requirements.lock" in text
    words = [word for word, _ in image]
    assert words[-1] == "CMD"
    (user,) = [each for word, each in image if word == "USER"]
    assert user not in ("root", "0")
    assert words.index("USER") > max(i for i, word in enumerate(words) if word in ("RUN", "COPY"))
    assert {each.split()[0] for word, each in image if word == "FROM"} == {"python:3.11-slim-bookworm"}


def test_every_service_starts_a_command_that_exists(compose):
    assert {name: compose["services"][name]["command"][0] for name in OURS} == {
        "prepare": "prepare", "web": "serve", "worker": "worker", "beat": "beat",
    }  # fmt: skip
    assert {service["command"][0] for name, service in compose["services"].items() if name in OURS} <= set(
        get_commands()
    )


def test_every_service_has_a_health_check_and_the_stores_have_volumes(compose):
    services = compose["services"]
    for name in ("worker", "beat"):
        assert services[name]["healthcheck"]["test"][-2:] == ["shop.config.health", name]
    for name in ("postgres", "redis"):
        assert services[name]["healthcheck"]["test"]
    assert services["web"]["depends_on"]["prepare"]["condition"] == "service_completed_successfully"
    mounted = {volume.split(":")[0] for service in services.values() for volume in service.get("volumes", ())}
    assert mounted == set(compose["volumes"]) == {"data", "postgres"}
    for name in OURS:
        assert "data:/data" in services[name]["volumes"]


def test_the_file_holds_no_secret_and_names_only_settings_that_exist(compose):
    known = set(re.findall(r'"([A-Z_]+)"', (ROOT / "shop/config/environment.py").read_text()))
    known |= set(re.findall(r'"([A-Z_]+)"', (ROOT / "shop/config/settings.py").read_text()))
    for name in OURS:
        assert set(compose["services"][name]["environment"]) <= known
    text = (DOCKER / "compose.yml").read_text()
    example = (DOCKER / "example.env").read_text()
    used = set(re.findall(r"\$\{([A-Z_]+)", text))
    assert used == set(re.findall(r"^([A-Z_]+)=", example, re.M))
    for secret in ("POSTGRES_PASSWORD", "TALLYBENCH_SECRET_KEY"):
        assert f"\n{secret}=\n" in example
        assert f"${{{secret}:?" in text, "missing, it must not start"
    ignored = (ROOT / ".gitignore").read_text().splitlines()
    assert "docker/.env" in ignored
    assert "docker/.env" in (ROOT / ".dockerignore").read_text().splitlines()
