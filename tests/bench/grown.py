"""An invented shop grown to years of work by made rows, for the benches: nothing of it went through an action.

A real job is done once through the actions (`Job`); its card with all that belongs to it is then copied by the database,
each copy with keys, dates and numbers of its own. The ledger is made of lots that each live the same life (`LIFE`), so
that every balance is the sum of its movements and `check_ledger` has something to find right.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.db import connection
from django.db.models import Model, QuerySet

from tests.bench.copying import BASE, Copying

CREW = 12  # who books the hours of a shop of 6,000 cards a year
PARTS, BINS, OPEN = 2_000, 200, 40  # open cards are few, however old the shop is
CARDS_A_YEAR, MOVEMENTS_A_YEAR = 6_000, 120_000
DAY = 86_400
DRAW, COUNT, OUT, IN, BACK, SCRAP = "draw", "count", "out", "in", "back", "scrap"
LIFE = (
    *("receipt", *[DRAW] * 19, COUNT, OUT, IN),
    *["draw there"] * 10,
    *(*[DRAW] * 23, BACK, DRAW, DRAW, SCRAP),
)  # 60 movements of one lot; every 20th lot keeps 5
USED = 55
KINDS = {"draw there": "draw", OUT: "transfer", IN: "transfer", BACK: "return"}


@dataclass(frozen=True)
class Size:
    name: str
    cards: int
    lots: int  # at once, and how much of its life each lives
    rounds: int
    life: int

    @property
    def movements(self) -> int:
        return self.lots * self.rounds * self.life


def years(n: int) -> Size:
    return Size(f"{n} year{'s' if n > 1 else ''}", CARDS_A_YEAR * n, 1_000, MOVEMENTS_A_YEAR * n // 60_000, len(LIFE))


SMALL = Size("1,000 rows", 60, 102, 1, 10)


class Job:
    """A job agreed, done, billed and paid through the actions, and folk and parts to take its place."""

    def __init__(self) -> None:
        from jobs.invoices.models import Invoice
        from shop.business import queries as business
        from shop.kernel import clock
        from tests.factories import estimates, invoices, stock
        from tests.factories.people import person
        from tests.factories.timebook import an_attendance

        self.owner = person("maren", "Maren Holt", "owner")
        self.card = estimates.card(self.owner, estimates.customer(name="Grown Harbour Works"))
        self.stages = [estimates.stage(self.owner, self.card, f"Stage {n}") for n in range(1, 6)]
        fit, rings = self.stages[0], estimates.part(self.owner, "GRW-RNG", "Grown ring set")
        estimates.need(self.owner, fit, rings)
        estimates.agreed(self.owner, self.card)
        for stage in self.stages:
            invoices.work(self.owner, stage, "2")
        invoices.use(self.owner, fit, rings, "2")
        bill = invoices.issued(self.owner, self.card)
        invoices.pay(self.owner, bill, str(bill.total_gross))
        self.bill = Invoice.objects.get(pk=bill.pk)
        self.site = business.default_site()
        self.attendance = an_attendance(self.owner, clock.now() - timedelta(hours=8), clock.now())
        self.shelf = stock.bin_(self.owner, at=self.site)
        self.part = rings


def folk(job: Job, size: Size) -> tuple[int, int]:
    """Customers and machines, parts and bins, saved one by one: their search text follows from the rest. Answers how many
    customers and machines."""
    from django.db import transaction

    from inventory.parts.models import Part
    from inventory.parts.naming import find_text
    from inventory.stock.models import Bin
    from jobs.machines.models import Customer, Machine

    customers, machines = max(100, size.cards // 20), max(150, size.cards // 12)
    towns, trades = ("Brackwater", "Gullhaven", "Dunmarsh", "Lower Fen", "Averil"), ("Ferries", "Growers", "Charter")
    firsts, lasts = ("Isla", "Odhran", "Maud", "Finn", "Wiebke", "Una", "Col"), ("Penhale", "Vell", "Harms", "Quill")
    with transaction.atomic():
        for n in range(customers):
            city, trade = towns[n % 5], trades[n % 3]
            name = f"{city} {trade} {n}" if n % 2 else f"{firsts[n % 7]} {lasts[n // 7 % 4]} {n}"
            Customer(
                pk=BASE + n, name=name, city=city, kind="firm" if n % 2 else "person", phone=f"+353 00 {n:07}",
                email=f"c{n}@grown.example", created_at=job.card.opened_at,
            ).save(force_insert=True)  # fmt: skip
        for n in range(machines):
            maker, model = (("Brindlecote", "B2"), ("Ostwick", "5"), ("Corran", "RW 40"))[n % 3]
            Machine(
                pk=BASE + n, customer_id=BASE + n % customers, kind="engine", maker=maker, model=model,
                serial_no=f"{model[0]}-{n:06}", created_at=job.card.opened_at,
            ).save(force_insert=True)  # fmt: skip
        for n in range(PARTS):
            part = Part(
                pk=BASE + n, number=f"GRW-{n:04}", name=f"{trades[n % 3]} gasket {n}", kind="gasket", unit_fixed=True
            )
            part.find_text = find_text(part, ())
            part.save(force_insert=True)
        Bin.objects.bulk_create(Bin(pk=BASE + n, site=job.site, code=f"G{n:03}") for n in range(BINS))
    return customers, machines


def grow(job: Job, size: Size) -> None:
    """Fill the database that the default connection leads to."""
    from inventory.stock.actions import close_months

    customers, machines = folk(job, size)
    with Filling(max(size.movements, size.cards)) as fill:
        ledger(fill, job, size)
        _draws(fill, size)
        _cards(fill, job, size, customers, machines)
        _attendance(fill, job, size)
    close_months()
    settle()


def settle() -> None:
    """Statistics, as `prepare` and PostgreSQL's autovacuum make them."""
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE" if connection.vendor == "postgresql" else "PRAGMA optimize=0x10002")


class Filling:
    """A numbers table, and guards and foreign keys out of the way."""

    def __init__(self, numbers: int) -> None:
        self.postgres, self.numbers = connection.vendor == "postgresql", numbers
        self.tables: set[str] = set()

    def __enter__(self) -> Filling:
        count = (
            f"SELECT generate_series(0, {self.numbers}) AS n" if self.postgres else
            f"WITH RECURSIVE c(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM c WHERE n < {self.numbers}) SELECT n FROM c"
        )  # fmt: skip
        self.run(f"CREATE TEMP TABLE bench_n AS {count}")
        if self.postgres:
            self.run("ANALYZE bench_n")
            self.run("SET session_replication_role = replica; SET synchronous_commit = off; SET work_mem = '64MB'")
        else:
            self.run("PRAGMA foreign_keys=OFF")
            self.run("PRAGMA synchronous=OFF")
        return self

    def __exit__(self, *_: object) -> None:
        self.run("DROP TABLE bench_n")
        if self.postgres:
            for table in sorted(self.tables):
                self.run(f"SELECT setval('{table}_id_seq', (SELECT MAX(id) FROM {table}))")
            self.run("RESET session_replication_role; RESET synchronous_commit; RESET work_mem")
        else:
            self.run("PRAGMA synchronous=FULL")
            self.run("PRAGMA foreign_keys=ON")

    def run(self, sql: str) -> None:
        with connection.cursor() as cursor:
            cursor.execute(sql)

    def ago(self, seconds: str) -> str:
        """The moment so many seconds before now; `seconds` is SQL of an integer."""
        if self.postgres:
            return f"now() - make_interval(secs => ({seconds})::double precision)"
        return f"strftime('%Y-%m-%d %H:%M:%S', 'now', '-' || ({seconds}) || ' seconds')"

    def day(self, seconds: str) -> str:
        return f"({self.ago(seconds)})::date" if self.postgres else f"substr({self.ago(seconds)}, 1, 10)"

    def uuid(self, number: str) -> str:
        return f"lpad(to_hex({number}), 32, '0')::uuid" if self.postgres else f"printf('%032x', {number})"

    def insert(self, model: type[Model], source: str, values: Mapping[str, str]) -> None:
        """INSERT ... SELECT `values` (SQL by column) FROM `source`; columns not named come from the row `z` of it."""
        table = model._meta.db_table
        self.tables.add(table)
        columns = [f.column for f in model._meta.concrete_fields]
        if unknown := set(values) - set(columns):
            raise ValueError(f"{table} has no {unknown}")
        quote = connection.ops.quote_name
        chosen = ", ".join(values.get(c, f"z.{quote(c)}") for c in columns)
        self.run(f"INSERT INTO {table} ({', '.join(map(quote, columns))}) SELECT {chosen} FROM {source}")


def ledger(fill: Filling, job: Job, size: Size) -> None:
    """Lots, movements, balances and levels. Movement n of all: round n / (lots x life), then step by step for all lots at
    once, as parts come and go in a shop."""
    from inventory.stock.models import Balance, Lot, Movement, StockLevel

    per_round, all_, last = size.lots * size.life, size.movements, size.lots * size.rounds
    span = max(size.cards * 3652 * DAY // (CARDS_A_YEAR * 10), 30 * DAY)
    site, by, part = job.site.pk, job.owner.pk, f"{BASE} + lot % {PARTS}"
    numbers = (
        f"(SELECT n, n / {per_round} * {size.lots} + n % {size.lots} AS lot, n % {per_round} / {size.lots} AS step"
    )
    numbers += f" FROM bench_n WHERE n < {all_}) x"
    fill.insert(
        Lot, f"(SELECT n AS lot FROM bench_n WHERE n < {last}) x, inventory_stock_lot z WHERE z.id = {_a_lot(job)}",
        {
            "id": f"{BASE} + lot", "part_id": part, "number": f"'G' || ({BASE} + lot)", "unit_cost": "1 + lot % 40",
            "received_at": fill.ago(f"{span} - CAST(1.0 * lot * {span} / {last} AS INTEGER)"),
        },
    )  # fmt: skip
    kind, quantity, bin_ = _by_step(size.life)
    posting = fill.uuid(f"{BASE} + n - CASE WHEN step = {LIFE.index(IN)} THEN {size.lots} ELSE 0 END")
    back = f"CASE WHEN step = {LIFE.index(BACK)} THEN {BASE} + n - {size.lots} END"
    source = f"{numbers}, inventory_stock_movement z WHERE z.id = {job.card.draws.get().movement_id} ORDER BY n"
    fill.insert(
        Movement, source,
        {
            "id": f"{BASE} + n", "kind": kind, "posting": posting, "part_id": part, "lot_id": f"{BASE} + lot",
            "bin_id": bin_, "site_id": str(site), "by_id": str(by), "quantity": quantity, "reverses_id": back,
            "value": f"({quantity}) * (1 + lot % 40)",
            "at": fill.ago(f"{span} - CAST(1.0 * n * {span} / {all_} AS INTEGER)"),
        },
    )  # fmt: skip
    sums = "SELECT lot_id, bin_id, MIN(part_id) AS part_id, SUM(quantity) AS on_hand FROM inventory_stock_movement"
    sums += f" WHERE id >= {BASE} GROUP BY lot_id, bin_id ORDER BY lot_id"
    fill.insert(
        Balance,
        f"({sums}) z",
        {"id": f"{BASE} + ROW_NUMBER() OVER (ORDER BY z.lot_id, z.bin_id)", "counted_at": "NULL"},
    )
    sums = "SELECT part_id, site_id, SUM(quantity) AS on_hand, 0 AS reserved FROM inventory_stock_movement"
    sums += f" WHERE id >= {BASE} GROUP BY part_id, site_id"
    fill.insert(StockLevel, f"({sums}) z", {"id": f"{BASE} + ROW_NUMBER() OVER (ORDER BY z.part_id)"})


def _a_lot(job: Job) -> int:
    return job.part.lots.values_list("pk", flat=True).get()


def _by_step(life: int) -> tuple[str, str, str]:
    """SQL of kind, quantity and bin by `lot` and `step`."""
    steps = list(enumerate(LIFE[:life]))

    def where(*names: str) -> str:
        return ", ".join(str(n) for n, name in steps if name in names) or "-1"

    kinds = " ".join(
        f"WHEN step IN ({where(name)}) THEN '{KINDS.get(name, name)}'" for name in dict.fromkeys(LIFE) if name != DRAW
    )
    quantity = (
        f"CASE WHEN step = 0 THEN {USED} + CASE WHEN lot % 21 = 0 THEN 5 ELSE 0 END WHEN step IN ({where(OUT)}) THEN -10"
        f" WHEN step IN ({where(IN)}) THEN 10 WHEN step IN ({where(BACK)}) THEN 1 ELSE -1 END"
    )
    there = f"CASE WHEN step IN ({where(IN, 'draw there')}) THEN 1 ELSE 0 END"
    return f"CASE {kinds} ELSE 'draw' END", quantity, f"{BASE} + (lot + {there}) % {BINS}"


def _draws(fill: Filling, size: Size) -> None:
    """What the movements took, for the cards in turn, and a line of the trail for each."""
    from jobs.draws.models import Draw
    from shop.trail.models import TrailRow

    card = f"CAST(1.0 * (m.id - {BASE}) * {size.cards} / {size.movements} AS INTEGER)"
    moves = f"(SELECT m.*, {card} AS n FROM inventory_stock_movement m WHERE m.id >= {BASE} AND m.kind = 'draw') x"
    one = "(SELECT * FROM jobs_draws_draw ORDER BY id LIMIT 1) z"
    came_back = (
        f"EXISTS (SELECT 1 FROM inventory_stock_movement r WHERE r.id = x.id + {size.lots} AND r.reverses_id = x.id)"
    )
    fill.insert(
        Draw, f"{moves}, {one} ORDER BY x.id",
        {
            "id": "x.id", "movement_id": "x.id", "part_id": "x.part_id", "quantity": "1", "value": "-x.value", "at": "x.at",
            "card_id": f"{BASE} + x.n", "stage_id": f"{BASE} + x.n * 5 + x.id % 5", "need_id": "NULL", "spent": "0",
            "returned": f"CASE WHEN {came_back} THEN 1 ELSE 0 END", "fitted": f"CASE WHEN {came_back} THEN 0 ELSE 1 END",
        },
    )  # fmt: skip
    for offset, verb, root, id_ in (
        (0, "part.drawn", "card", f"{BASE} + x.n"),
        (size.movements, "stock.draw", "part", "x.part_id"),
    ):
        template = (
            f"(SELECT * FROM shop_trail_trailrow WHERE verb = '{verb}' AND root LIKE '%{root}' ORDER BY id LIMIT 1) z"
        )
        fill.insert(
            TrailRow, f"{moves}, {template} ORDER BY x.id",
            {"id": f"x.id + {offset}", "subject_id": "x.id", "root_id": id_, "at": "x.at"},
        )  # fmt: skip


def _cards(fill: Filling, job: Job, size: Size, customers: int, machines: int) -> None:
    from jobs.cards.models import CardNote, Gate, JobCard, Stage
    from jobs.draws.models import Need
    from jobs.estimates.models import Estimate, EstimateLine, GoAhead, GoAheadLine
    from jobs.invoices.models import Allocation, Invoice, InvoiceLine, Payment
    from jobs.timebook.models import TimeBooking
    from shop.kernel import clock
    from shop.trail.models import TrailRow

    card = job.card
    span = max(size.cards * 3652 * DAY // (CARDS_A_YEAR * 10), 30 * DAY)
    since = f"({span} - CAST(1.0 * n * {span} / {size.cards} AS INTEGER))"
    closed = f"n < {size.cards - OPEN}"
    opened, ended = fill.ago(since), f"CASE WHEN {closed} THEN {fill.ago(f'{since} - {DAY} / 2')} END"
    year = (clock.today() - timedelta(days=366)).year % 100 - max(1, size.cards // CARDS_A_YEAR) + 1
    number = f"({year} + n / {CARDS_A_YEAR}) || '-' || substr(CAST(100000 + n % {CARDS_A_YEAR} AS TEXT), 3)"
    who = {"customer_id": f"{BASE} + n % {machines} % {customers}"}
    crew = _crew(job, size)
    copy = Copying(fill, size.cards)
    stages = Stage.objects.filter(card=card)
    estimates, bills = Estimate.objects.filter(card=card), Invoice.objects.filter(card=card)
    payments = Payment.objects.filter(allocations__invoice__in=bills)
    said = {"issued_at": opened, "issued_on": fill.day(since), "created_at": opened}
    plan: list[tuple[QuerySet[Any], dict[str, str]]] = [
        (JobCard.objects.filter(pk=card.pk), who | {
            "number": number, "machine_id": f"{BASE} + n % {machines}", "opened_at": opened, "arrived_at": opened,
            "finished_at": ended, "handed_over_at": ended, "invoiced_at": ended, "promised_on": fill.day(f"{since} - 5 * {DAY}"),
        }),
        (stages, {"started_at": opened, "finished_at": ended}),
        (Gate.objects.filter(stage__in=stages), {}),
        (CardNote.objects.filter(card=card), {"at": opened}),
        (Need.objects.filter(stage__in=stages), {"part_id": f"{BASE} + n % {PARTS}", "reservation_id": "NULL"}),
        (
            TimeBooking.objects.filter(stage__in=stages),
            {"started_at": opened, "ended_at": fill.ago(f"{since} - 3600"), "person_id": _by_turns(crew)},
        ),
        (EstimateLine.objects.filter(estimate__in=estimates), {}),
        (estimates, said | {"number": f"'E' || {number}"}),
        (GoAheadLine.objects.filter(go_ahead__estimate__in=estimates), {}),
        (GoAhead.objects.filter(estimate__in=estimates), {"said_at": opened, "recorded_at": opened}),
        (InvoiceLine.objects.filter(invoice__in=bills), {}),
        (Allocation.objects.filter(invoice__in=bills), {"at": opened}),
        (payments, who | {"at": opened, "received_on": fill.day(since)}),
        (bills, said | who | {"number": f"'R' || {number}", "due_on": fill.day(f"{since} - 14 * {DAY}"), "settled_at": ended}),
        (TrailRow.objects.filter(root__endswith="card", root_id=card.pk), {"root_id": f"{BASE} + n", "at": opened}),
    ]  # fmt: skip
    for rows, _ in plan:
        copy.know(rows)
    for rows, values in plan:
        copy.all(rows, values)


def _crew(job: Job, size: Size) -> list[int]:
    from shop.people.models import Person
    from tests.factories.people import person

    names = [f"crew{n}" for n in range(size.cards // 1000 and CREW - 1)]
    there = dict(Person.objects.filter(username__in=names).values_list("username", "pk"))
    found = [there.get(name) or person(name, f"Crew {name[4:]}", "mechanic").pk for name in names]
    return [job.owner.pk, *found]


def _attendance(fill: Filling, job: Job, size: Size) -> None:
    """Eight hours of each of the crew on each day of the shop's life."""
    from jobs.timebook.models import Attendance

    crew = _crew(job, size)
    span = max(size.cards * 3652 * DAY // (CARDS_A_YEAR * 10), 30 * DAY)
    since = f"({span} - n / {len(crew)} * {DAY})"
    rows = span // DAY * len(crew)
    fill.insert(
        Attendance,
        f"(SELECT n FROM bench_n WHERE n < {rows}) x, jobs_timebook_attendance z WHERE z.id = {job.attendance.pk}",
        {
            "id": f"{BASE} + n", "person_id": _by_turns(crew), "arrived_at": fill.ago(since),
            "left_at": fill.ago(f"{since} - 28800"), "entered_at": fill.ago(f"{since} - 28800"),
        },
    )  # fmt: skip


def _by_turns(people: list[int]) -> str:
    return "CASE n % " + str(len(people)) + "".join(f" WHEN {n} THEN {pk}" for n, pk in enumerate(people)) + " END"


def grown_ids(size: Size) -> dict[str, int]:
    """Keys of made rows in the middle of the shop's life, by the name of the place in the API."""
    n = BASE + size.cards // 2
    stage = BASE + size.cards // 2 * 5
    return {
        "cards": n, "stages": stage, "customers": BASE + 7, "machines": BASE + 7, "parts": BASE + 20, "bins": BASE + 20,
        "lots": BASE + 20, "movements": BASE + size.movements - 1, "estimates": n, "invoices": n, "payments": n,
    }  # fmt: skip
