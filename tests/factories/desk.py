"""A shop in the middle of a day: what the first page, the card page and the bench show when there is something to show."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

from inventory.parts.models import Part
from inventory.stock.models import Bin
from jobs.cards import actions as cards
from jobs.cards.models import JobCard, Stage
from jobs.draws import actions as draws
from jobs.timebook import actions as hours
from shop.kernel import clock
from shop.people.models import Person

from .cards import a_stage
from .machines import customer, machine
from .parts import part, sealant
from .people import person
from .stock import bin_, lot, site


@dataclass
class Scene:
    """Card with the stages strip (finished), measure (can start), fit (agreed; wants a signature and parts), test
    (no go-ahead yet)."""

    card: JobCard
    strip: Stage
    measure: Stage
    fit: Stage
    test: Stage
    gasket: Part
    tube: Part
    shelf: Bin


def people() -> dict[str, Person]:
    return {
        "owner": person("maren", "Maren Holt", "owner"),
        "office": person("pim", "Pim Castell", "office"),
        "mechanic": person("jory", "Jory Vane", "mechanic"),
        "mechanic2": person("brann", "Brann Oakes", "mechanic"),
        "stores": person("tamsin", "Tamsin Roe", "stores"),
    }


def catalogue(stores: Person) -> tuple[Part, Part, Bin]:
    """A single-use head gasket (3 on the shelf) and sealant by the millilitre (70), made once."""
    shelf = bin_(stores, "A3-02", at=site())
    gasket = Part.objects.filter(number="GKT-041").first()
    if gasket is None:
        gasket = part(stores, single_use=True, sale_price="38.50", barcode="4006381333931")
        lot(stores, gasket.pk, "3", "21.40", at=shelf)
    tube = Part.objects.filter(number="SEA-070").first()
    if tube is None:
        tube = sealant(stores, sale_price="0.24", hazards=["H317"])
        lot(stores, tube.pk, "70", "0.115", at=shelf)
    return gasket, tube, shelf


def scene(*, stages: int = 0, late: bool = False) -> Scene:
    """A new card in the middle of its work; `stages` adds so many more stages, each with a part needed and drawn."""
    cast = people()
    office, mechanic, stores = cast["office"], cast["mechanic"], cast["stores"]
    gasket, tube, shelf = catalogue(stores)
    owner = customer("Mara Quill", phone="+353 00 555 0142", city="Saltmarsh Quay", despite_duplicates=True)
    engine = machine(owner, kind="engine", maker="Brindlecote", model="B2")
    card = cards.open_card(
        by=office, machine_id=engine.pk, site_id=shelf.site_id,
        complaint="Loses power when warm, blue smoke at idle, uses a litre of oil in ten hours.",
        came_with="Exhaust elbow, tool roll. Tank a third full.",
        promised_on=clock.today() + timedelta(days=5),
    )  # fmt: skip
    strip = a_stage(card, "Strip the head", mechanic_id=mechanic.pk)
    measure = a_stage(
        card, "Measure bores and rings", kind="measure", standard_hours=Decimal("1.5"), after_ids=[strip.pk]
    )
    fit = a_stage(
        card, "Fit head with new gasket", kind="fit", needs_go_ahead=True, standard_hours=Decimal("3"), mechanic_id=mechanic.pk,
        cautions="The head weighs 38 kg: use the hoist. Torque and order come from the maker's manual.",
    )  # fmt: skip
    test = a_stage(
        card, "Run on the bench", kind="test", needs_go_ahead=True, standard_hours=Decimal("2.5"), after_ids=[fit.pk]
    )
    cards.add_gate(fit.pk, by=office, text="Ports covered, faces clean", when="start")
    cards.add_gate(fit.pk, by=office, text="New circlips fitted", when="finish")
    cards.give_go_ahead([fit.pk], ref="estimate EST-26-0001", at=clock.now(), by=office)
    draws.add_need(by=office, stage_id=fit.pk, part_id=gasket.pk, quantity=Decimal(1))
    draws.add_need(by=office, stage_id=fit.pk, part_id=tube.pk, quantity=Decimal("12.5"))
    cards.start_stage(strip.pk, by=mechanic)
    cards.finish_stage(strip.pk, by=mechanic)
    cards.add_note(card.pk, by=office, text="Owner wants the old rings back.")
    for n in range(stages):
        more = a_stage(card, f"More work {n + 1}", kind="clean")
        draws.add_need(by=office, stage_id=more.pk, part_id=tube.pk, quantity=Decimal(2))
        draws.draw(by=mechanic, stage_id=more.pk, part_id=tube.pk, quantity=Decimal(1))
        cards.add_gate(more.pk, by=office, text="Clean", when="finish")
    if late:
        JobCard.objects.filter(pk=card.pk).update(promised_on=clock.today() - timedelta(days=2))
    card.refresh_from_db()
    return Scene(card, strip, measure, fit, test, gasket, tube, shelf)


def clocked_on(stage: Stage, worker: Person):
    """The worker's clock runs on the stage."""
    return hours.clock_on(by=worker, stage_id=stage.pk)
