from django.urls import path

from .pages import counts, shelf, value

app_name = "stock"
urlpatterns = [
    path("stock/", shelf.stock, name="list"),
    path("stock/receive/", shelf.receive, name="receive"),
    path("stock/movements/", shelf.movements, name="movements"),
    path("stock/expiring/", shelf.expiring, name="expiring"),
    path("stock/value/", value.value, name="value"),
    path("stock/value.csv", value.value_csv, name="value-csv"),
    path("stock/lots/<int:pk>/", shelf.lot, name="lot"),
    path("stock/lots/<int:pk>/cost/", value.revalue, name="revalue"),
    path("stock/lots/<int:lot_id>/in/<int:bin_id>/", shelf.place, name="place"),
    path("stock/lots/<int:lot_id>/in/<int:bin_id>/transfer/", shelf.transfer, name="transfer"),
    path("stock/lots/<int:lot_id>/in/<int:bin_id>/scrap/", shelf.scrap, name="scrap"),
    path("stock/lots/<int:lot_id>/in/<int:bin_id>/open/", shelf.open_lot, name="open"),
    path("stock/lots/<int:lot_id>/in/<int:bin_id>/break-open/", shelf.break_open, name="break-open"),
    path("stock/bins/", shelf.bins, name="bins"),
    path("stock/bins/new/", shelf.add_bin, name="add-bin"),
    path("stock/bins/<int:pk>/", shelf.bin_, name="bin"),
    path("stock/bins/<int:pk>/edit/", shelf.edit_bin, name="edit-bin"),
    path("stock/bins/<int:pk>/archive/", shelf.archive_bin, name="archive-bin"),
    path("stock/bins/<int:pk>/count/", shelf.count, name="count"),
    path("stock/counts/", counts.count_lists, name="counts"),
    path("stock/counts/new/", counts.start, name="count-start"),
    path("stock/counts/<int:pk>/", counts.count_list, name="count-list"),
    path("stock/counts/<int:pk>/cancel/", counts.cancel, name="count-cancel"),
    path("stock/counts/lines/<int:pk>/", counts.count_line, name="count-line"),
    path("stock/counts/lines/<int:pk>/finish/", counts.finish, name="count-finish"),
    path("stock/counts/lines/<int:pk>/close/", counts.close, name="count-close"),
    path("stock/reservations/<int:pk>/release/", shelf.release, name="release"),
]
