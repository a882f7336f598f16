"""Addresses of the desk. The first page and those that the shell leads to have names without a namespace.

The whole card, the way a card is opened and a mechanic's own page need every room. They bear the names that the rooms below
link to, so the addresses of the cards room are served from here together with them.
"""

from django.urls import include, path

from jobs.cards import urls as cards

from .pages import bench, card, find, home, intake, recall

CARDS = [
    path("bench/", bench.mine, name="mine"),
    path("cards/new/", intake.intake, name="open"),
    path("cards/<int:pk>/", card.card, name="card"),
    *cards.urlpatterns,
]
DESK = [
    path("cards/<int:pk>/hand-over/", card.hand_over, name="hand-over"),
    path("cards/<int:pk>/cancel/", card.cancel, name="cancel"),
    path("cards/<int:pk>/sheet.pdf", card.sheet, name="sheet"),
    path("cards/<int:pk>/picking/", card.picking, name="picking"),
    path("cards/<int:pk>/picking.pdf", card.picking_pdf, name="picking-pdf"),
    path("cards/<int:pk>/build-record.pdf", card.build_record, name="build-record"),
    path("recall/lots/<int:pk>/", recall.recall, name="recall"),
    path("recall/lots/<int:pk>/list.csv", recall.recall_csv, name="recall-csv"),
    path("recall/lots/<int:pk>/customers/<int:customer>/letter.pdf", recall.recall_letter, name="recall-letter"),
]
urlpatterns = [
    path("", home.today, name="home"),
    path("find/", find.find, name="find"),
    path("scan/", find.scan, name="scan"),
    path("", include((CARDS, "cards"))),
    path("", include((DESK, "desk"))),
]
