"""Run in a shop's own environment: makes the cast with an API token each, a stage to draw for and a well-stocked part.

Prints {"tokens": {username: token}, "ids": {"stage": .., "part": ..}} as JSON.
"""

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
    from shop.business.models import Business
    from shop.people import tokens
    from shop.people.models import ApiToken

    from . import cards, parts, stock
    from .people import person

    Business.objects.create(name="Saltmarsh Engine Works", is_sample=True)
    stock.site()
    made = {}
    for username, name, role in CAST:
        token, prefix, digest = tokens.new_token()
        ApiToken.objects.create(person=person(username, name, role), label="test", prefix=prefix, digest=digest)
        made[username] = token
    office, stores = person(*CAST[1]), person(*CAST[4])
    stage = cards.a_stage(cards.a_card(office))
    part = parts.part(stores)
    stock.lot(stores, part.pk, "100000000")
    print(json.dumps({"tokens": made, "ids": {"stage_id": stage.pk, "part_id": part.pk}}))


if __name__ == "__main__":
    main()
