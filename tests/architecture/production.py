"""Answers of a shop with the settings it has unless told otherwise: run in a process of its own, prints JSON."""

from __future__ import annotations

import json
import os


def main() -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "shop.config.settings"
    import django

    django.setup()
    from django.core.management import call_command
    from django.test import Client

    from tests.factories.people import PASSWORD, person

    call_command("prepare", verbosity=0)
    person("maren", "Maren Holt", "owner")
    client = Client(raise_request_exception=False, SERVER_NAME="localhost")
    found = {"plain": client.get("/sign-in/"), "health": client.get("/healthz")}
    found["form"] = client.get("/sign-in/", secure=True)
    sent = {"username": "maren", "password": PASSWORD}
    found["signed in"] = client.post("/sign-in/", sent, secure=True)
    found["home"] = client.get("/", secure=True)
    answers = {
        name: {
            "status": answer.status_code,
            "headers": dict(answer.headers),
            "cookies": {c.key: {k: v for k, v in c.items() if v} for c in answer.cookies.values()},
        }
        for name, answer in found.items()
    }
    print(json.dumps(answers))


if __name__ == "__main__":
    main()
