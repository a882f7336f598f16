from django.urls import path

from . import pages

app_name = "stock"
urlpatterns = [
    path("stock/", pages.stock, name="list"),
    path("stock/receive/", pages.receive, name="receive"),
    path("stock/movements/", pages.movements, name="movements"),
    path("stock/expiring/", pages.expiring, name="expiring"),
    path("stock/lots/<int:pk>/", pages.lot, name="lot"),
    path("stock/lots/<int:lot_id>/in/<int:bin_id>/", pages.place, name="place"),
    path("stock/lots/<int:lot_id>/in/<int:bin_id>/transfer/", pages.transfer, name="transfer"),
    path("stock/lots/<int:lot_id>/in/<int:bin_id>/scrap/", pages.scrap, name="scrap"),
    path("stock/lots/<int:lot_id>/in/<int:bin_id>/open/", pages.open_lot, name="open"),
    path("stock/bins/", pages.bins, name="bins"),
    path("stock/bins/new/", pages.add_bin, name="add-bin"),
    path("stock/bins/<int:pk>/", pages.bin_, name="bin"),
    path("stock/bins/<int:pk>/edit/", pages.edit_bin, name="edit-bin"),
    path("stock/bins/<int:pk>/archive/", pages.archive_bin, name="archive-bin"),
    path("stock/bins/<int:pk>/count/", pages.count, name="count"),
    path("stock/reservations/<int:pk>/release/", pages.release, name="release"),
]
