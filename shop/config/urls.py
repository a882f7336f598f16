from __future__ import annotations

from django.conf import settings
from django.http import Http404
from django.urls import URLPattern, URLResolver, include, path, re_path

from inventory.buying import api as buying
from inventory.labels import api as labels
from inventory.parts import api as parts
from inventory.reorder import api as reorder
from inventory.stock import api as stock
from jobs.accounts import api as accounts
from jobs.alerts import api as alerts
from jobs.books import api as books
from jobs.cards import api as cards
from jobs.desk import api as desk
from jobs.draws import api as draws
from jobs.estimates import api as estimates
from jobs.exchange import api as exchange
from jobs.invoices import api as invoices
from jobs.learning import api as learning
from jobs.machines import api as machines
from jobs.plans import api as plans
from jobs.replies import api as replies
from jobs.reports import api as reports
from jobs.sublet import api as sublet
from jobs.timebook import api as timebook
from shop.api import urls as api_urls
from shop.api.views import Description
from shop.business import api as business
from shop.documents import api as documents
from shop.people import api as people

from .health import healthz
from .outbox import api as outbox

# Each room's pages (urls.py) and REST routes (api.py); a room is added here once.
PAGES: list[str] = [
    "shop.config.outbox.urls",
    "shop.people.urls",
    "shop.business.urls",
    "shop.documents.urls",
    "inventory.parts.urls",
    "inventory.stock.urls",
    "inventory.reorder.urls",
    "inventory.buying.urls",
    "inventory.labels.urls",
    "jobs.machines.urls",
    "jobs.plans.urls",
    "jobs.timebook.urls",
    "jobs.draws.urls",
    "jobs.learning.urls",
    "jobs.alerts.urls",
    "jobs.desk.urls",
    "jobs.estimates.urls",
    "jobs.replies.urls",
    "jobs.sublet.urls",
    "jobs.invoices.urls",
    "jobs.accounts.urls",
    "jobs.books.urls",
    "jobs.reports.urls",
    "jobs.exchange.urls",
]
APIS: list = [
    people,
    business,
    outbox,
    documents,
    parts,
    stock,
    labels,
    buying,
    reorder,
    machines,
    plans,
    cards,
    timebook,
    draws,
    learning,
    alerts,
    estimates,
    replies,
    sublet,
    invoices,
    accounts,
    books,
    reports,
    desk,
    exchange,
]


def _nothing(request, **kwargs):
    raise Http404


urlpatterns: list[URLPattern | URLResolver] = [
    path("healthz", healthz, name="healthz"),
    path("api/v1/", include((api_urls.build(APIS), "api"))),
    path("api/v1/openapi.json", Description.as_view(), name="openapi"),
    path("api/", include("shop.api.reading.urls")),
    re_path(r"^api/", _nothing),
    *[path("", include(module)) for module in PAGES],
]
if settings.DEBUG:
    urlpatterns.append(path("ui/", include("shop.ui.urls")))
handler400 = "shop.config.errors.bad_request"
handler403 = "shop.config.errors.forbidden"
handler404 = "shop.config.errors.not_found"
handler500 = "shop.config.errors.broken"
