"""Every list, page and document that can be asked for with GET, drawing a part, and search, in a shop of about 1,000 ledger
rows, one grown to a year and one grown to ten (60,000 cards, 1.2 million movements).

Run: [DATABASE_URL=postgres://...] python -m tests.bench.bench_lists [years [words that a path must hold ...]]

Milliseconds in the server (no network; on SQLite of processor time, so that other work doesn't count), queries, and the growth from the smallest shop to the largest, asked in turn. A
list's deep page is the one after going through half of the table, beside its first. What misses a goal is marked with !.
"""

from __future__ import annotations

import base64
import json
import os
import sys
import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from tests.bench import grown
from tests.bench.load import median
from tests.bench.shops import Shops

POSTGRES = os.environ.get("DATABASE_URL", "").startswith("postgres")
clock = time.perf_counter if POSTGRES else time.process_time  # on SQLite all the work is this process's
ROUNDS, EACH = 2, 3
LIST_MS, LIST_QUERIES, DEEP, SEARCH_MS, GROWTH = 5, 4, 1.2, 10, 1.2
SEARCHES = {
    "/find/?text=brindlecote": "a word of very many", "/find/?text=gullhaven+77": "two words", "/find/?text=GRW-1234": "a part",
    "/find/?text=nosuchthing": "nothing", "/api/v1/customers/?text=dunmarsh": "", "/api/v1/machines/?text=b-000123": "",
    "/api/v1/parts/?text=gasket+17": "", "/parts/?text=growers": "", "/customers/?text=una": "", "/machines/?text=ostwick": "",
}  # fmt: skip


@dataclass
class Asked:
    path: str
    queries: list[int] = field(default_factory=list)
    ms: list[list[float]] = field(default_factory=list)  # by size

    def at(self, size: int) -> float:
        return median(self.ms[size])


def main() -> None:
    years, only = int(sys.argv[1]) if len(sys.argv) > 1 else 10, sys.argv[2:]
    url = os.environ.get("DATABASE_URL", "")
    with Shops(url if url.startswith("postgres") else "") as shops:
        from django.conf import settings
        from django.db import connection

        settings.ALLOWED_HOSTS = ["*"]
        ground = Ground()
        sizes = [grown.SMALL, *(grown.years(n) for n in sorted({1, years}))]
        for size in sizes:
            begun = time.perf_counter()
            shops.make(size.name, lambda size=size: grown.grow(ground.job, size))  # type: ignore[misc]
            print(f"{size.name}: {size.cards:,} cards, {size.movements:,} movements, made in {time.perf_counter() - begun:.0f} s",
                  flush=True)  # fmt: skip
        print(f"\n{connection.vendor}: ms in the smallest, ..., largest shop; growth; queries")
        bench = Bench(shops, [size.name for size in sizes], ground)
        kinds: dict[str, list[str]] = {"lists of the API": [], "other routes of the API": [], "pages": []}
        for api, path in ground.paths(sizes[0]):
            kind = "pages" if not api else "lists of the API" if bench.is_list(path) else "other routes of the API"
            kinds[kind].append(path)
        kinds["search"] = list(SEARCHES)
        missed = 0
        for kind, paths in kinds.items():
            wanted = [path for path in paths if not only or any(word in path for word in only)]
            if not wanted:
                continue
            print(f"\n{kind}")
            asked = []
            for path in wanted:
                each = bench.ask(path)
                asked.append(each)
                missed += say(kind, each, bench.deep(each.path) if kind == "lists of the API" else None)
            print(f"  -> {len(asked)}: median {median([a.at(-1) for a in asked]):.1f} ms, slowest"
                  f" {max(a.at(-1) for a in asked):.1f} ms, median growth {median([a.at(-1) / a.at(0) for a in asked]):.2f} x")  # fmt: skip
        if not only or "draws" in only:
            each = bench.repeat("POST /api/v1/draws/", ground.draw)
            print("\npostings")
            missed += say("postings", each, None)
        print(f"\n{missed} missed a goal")


def say(kind: str, each: Asked, deep: tuple[float, float] | None) -> int:
    growth = each.at(-1) / each.at(0)
    wrong = []
    if kind == "lists of the API":
        wrong += ["slow"] * (each.at(-1) > LIST_MS) + ["queries"] * (max(each.queries) > LIST_QUERIES)
    if kind == "search":
        wrong += ["slow"] * (each.at(-1) > SEARCH_MS)
    wrong += ["grows"] * (growth > GROWTH and each.at(-1) - each.at(0) > 0.5)
    text = f"  {each.path:58.58} " + " ".join(f"{each.at(n):7.2f}" for n in range(len(each.ms)))
    text += f"  {growth:5.2f} x  {'/'.join(map(str, dict.fromkeys(each.queries))):>6}"
    if deep:
        ratio = deep[1] / deep[0]
        text += f"  deep {deep[1]:6.2f} ms = {ratio:4.2f} x"
        wrong += ["deep"] * (ratio > DEEP and deep[1] - deep[0] > 0.5)
    print(text + "".join(f"  !{w}" for w in wrong), flush=True)
    return bool(wrong)


class Ground:
    """What all sizes have: the small shop of the architecture tests with something behind every route, a job to copy, a
    token and a session of the owner, and a stage to draw for."""

    def __init__(self) -> None:
        from decimal import Decimal

        from django.test import Client

        from jobs.draws import actions as draws
        from shop.people import tokens
        from shop.people.models import ApiToken
        from tests.architecture.world import World
        from tests.factories import cards, parts, stock

        self.world, self.job = World(), grown.Job()
        owner = self.job.owner
        token, prefix, digest = tokens.new_token()
        ApiToken.objects.create(person=owner, label="bench", prefix=prefix, digest=digest)
        self.client, self.program = Client(), Client(headers={"Authorization": f"Bearer {token}"})
        self.client.force_login(owner)
        self.stage, self.part = cards.a_stage(cards.a_card(owner)).pk, parts.part(owner, "BNCH-1", "Bench gasket").pk
        stock.lot(owner, self.part, "1000000", at=self.job.shelf)
        need = draws.add_need(by=owner, stage_id=self.stage, part_id=self.part, quantity=Decimal(900_000))
        draws.keep(need.pk, by=owner)

    def paths(self, smallest: grown.Size) -> list[tuple[bool, str]]:
        """Every GET route with made rows where they are told apart, else rows of the small world."""
        from tests.architecture.routes import all_routes, needed_in_query
        from tests.architecture.test_rights import place_of

        made, found = grown.grown_ids(smallest), []
        for route in all_routes():
            if "GET" not in route.rights or route.open:  # those show nothing of the shop
                continue
            path = route.path
            for placeholder in route.placeholders:
                place = place_of(route, placeholder)
                world = self.world.here(place.lstrip("="), "owner") if not place.startswith("=") else place[1:]
                value = (
                    made.get(place, world) if len(route.placeholders) == 1 or place in ("cards", "stages") else world
                )
                path = path.replace(f"<{placeholder}>", str(value))
            if route.api and (needed := needed_in_query(route.path)):
                path += "?" + "&".join(f"{name}={self._needed(name)}" for name in needed)
            found.append((route.api, path))
        return sorted(set(found))

    def _needed(self, name: str) -> Any:
        if name in ("subject", "root"):
            return "jobcard"
        if name.endswith("_id"):
            return grown.BASE + 20
        return "2026-01-01"

    def get(self, path: str) -> Any:
        return (self.program if path.startswith("/api/v1/") else self.client).get(path)

    def draw(self) -> Any:
        return self.program.post(
            "/api/v1/draws/", {"stage_id": self.stage, "part_id": self.part, "quantity": "1"}, "application/json",
            headers={"Idempotency-Key": uuid.uuid4().hex},
        )  # fmt: skip


class Bench:
    def __init__(self, shops: Shops, sizes: list[str], ground: Ground) -> None:
        self.shops, self.sizes, self.ground = shops, sizes, ground

    def is_list(self, path: str) -> bool:
        self.shops.use(self.sizes[0])
        answer = self.ground.get(path)
        return answer.headers.get("Content-Type", "").startswith("application/json") and "next" in answer.json()

    def ask(self, path: str) -> Asked:
        return self.repeat(path, lambda: self.ground.get(path))

    def repeat(self, name: str, work: Callable[[], Any]) -> Asked:
        """The same in every size in turn, so that what else the machine does meets all of them alike."""
        from django.db import connection

        asked = Asked(name, ms=[[] for _ in self.sizes])
        for turn in range(ROUNDS):
            for n, size in enumerate(self.sizes):
                self.shops.use(size)
                if not turn:
                    counted: list[int] = []
                    with connection.execute_wrapper(lambda run, *a, counted=counted: (counted.append(1), run(*a))[1]):
                        answer = work()
                        getattr(answer, "content", b"".join(getattr(answer, "streaming_content", ())))
                    asked.queries.append(len(counted))
                    if answer.status_code >= 400:
                        raise SystemExit(f"{name} in {size}: {answer.status_code} {answer.content[:300]!r}")
                work()
                for _ in range(EACH):
                    begun = clock()
                    work()
                    asked.ms[n].append((clock() - begun) * 1000)
                if asked.ms[n][-1] > 2000:  # seen enough of this one
                    return asked if turn else self._once(asked, work)
        return asked

    def _once(self, asked: Asked, work: Callable[[], Any]) -> Asked:
        for n, size in enumerate(self.sizes):
            if not asked.ms[n]:
                self.shops.use(size)
                begun = clock()
                work()
                asked.ms[n].append((clock() - begun) * 1000)
        return asked

    def deep(self, path: str) -> tuple[float, float] | None:
        """Milliseconds of the first page and of one from the middle of the table, in the largest shop."""
        self.shops.use(self.sizes[-1])
        further = self.ground.get(path).json()["next"]
        if not further:
            return None
        where, _, query = further.partition("?")
        given = dict(pair.split("=", 1) for pair in query.split("&"))
        cursor = given["cursor"].replace("%3D", "=")
        raw = json.loads(base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)))
        if not isinstance(raw[-1], int) or len(raw) != 3:
            return None  # ordered by more than the key: the middle isn't known
        middle = grown.BASE + (raw[-1] - grown.BASE) // 2 if raw[-1] > grown.BASE else raw[-1]
        given["cursor"] = base64.urlsafe_b64encode(json.dumps([*raw[:-1], middle]).encode()).decode().rstrip("=")
        there = f"{where}?" + "&".join(f"{k}={v}" for k, v in given.items())
        times: tuple[list[float], list[float]] = ([], [])
        for _ in range(ROUNDS * EACH):
            for n, each in enumerate((path, there)):
                begun = clock()
                answer = self.ground.get(each)
                times[n].append((clock() - begun) * 1000)
                if answer.status_code != 200:
                    raise SystemExit(f"{each}: {answer.content[:300]!r}")
        return median(times[0]), median(times[1])


if __name__ == "__main__":
    main()
