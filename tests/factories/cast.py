"""Run in a shop's own environment: makes the cast with an API token each, and prints the tokens as JSON."""

from __future__ import annotations

import json
import os

CAST = (
    ("maren", "Maren Holt", "owner"),
    ("pim", "Pim Castell", "office"),
    ("jory", "Jory Vane", "mechanic"),
    ("brann", "Brann Oakes", "mechanic"),
    ("tamsin", "Tamsin Roe", "stores"),
)


def main() -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "shop.config.settings"
    import django

    django.setup()
    from shop.business.models import Business, Site
    from shop.people import tokens
    from shop.people.models import ApiToken

    from .people import person

    Business.objects.create(name="Saltmarsh Engine Works", is_sample=True)
    Site.objects.create(name="Slip Road shed", code="SR")
    made = {}
    for username, name, role in CAST:
        token, prefix, digest = tokens.new_token()
        ApiToken.objects.create(person=person(username, name, role), label="test", prefix=prefix, digest=digest)
        made[username] = token
    print(json.dumps(made))


if __name__ == "__main__":
    main()
