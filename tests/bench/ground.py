"""Run in a shop's own environment after the cast: parts on the shelf, a stage for each client with what it needs kept.

Prints {"tokens": [...], "stages": [...], "parts": [...], "bins": [...]} as JSON.
"""

from __future__ import annotations

import json
import os

PARTS, CLIENTS = 64, 8


def main() -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "shop.config.settings"
    import django

    django.setup()
    from decimal import Decimal

    from jobs.draws import actions as draws
    from shop.people import tokens
    from shop.people.models import ApiToken
    from tests.factories import cards, parts, stock
    from tests.factories.people import person

    office, stores = person("pim", "Pim Castell", "office"), person("tamsin", "Tamsin Roe", "stores")
    made = [parts.part(stores, f"GKT-{n:03}", f"Gasket {n}") for n in range(100, 100 + PARTS)]
    for part in made:
        stock.lot(stores, part.pk, "1000000")
        stock.lot(stores, part.pk, "10000000", at=stock.bin_(stores, "B1-01"))
    told: dict[str, list] = {"tokens": [], "stages": [], "parts": [part.pk for part in made]}
    told["bins"] = [stock.bin_(stores, f"C1-{n:02}").pk for n in range(PARTS)]
    for n in range(CLIENTS):
        stage = cards.a_stage(cards.a_card(office))
        told["stages"].append(stage.pk)
        for part in made:
            need = draws.add_need(by=stores, stage_id=stage.pk, part_id=part.pk, quantity=Decimal(500_000))
            draws.keep(need.pk, by=stores)
        token, prefix, digest = tokens.new_token()
        who = person(f"bench{n}", f"Bench {n}", "mechanic", "stores")
        ApiToken.objects.create(person=who, label="bench", prefix=prefix, digest=digest)
        told["tokens"].append(token)
    print(json.dumps(told))


if __name__ == "__main__":
    main()
