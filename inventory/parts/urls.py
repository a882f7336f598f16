from django.urls import path

from . import pages

app_name = "parts"
urlpatterns = [
    path("parts/", pages.parts, name="list"),
    path("parts/new/", pages.add_part, name="add"),
    path("parts/<int:pk>/", pages.part, name="part"),
    path("parts/<int:pk>/edit/", pages.edit_part, name="edit"),
    path("parts/<int:pk>/archive/", pages.archive_part, name="archive"),
    path("parts/<int:pk>/restore/", pages.restore_part, name="restore"),
    path("parts/<int:pk>/barcodes/", pages.barcodes, name="barcodes"),
    path("parts/barcodes/<int:pk>/remove/", pages.remove_barcode, name="remove-barcode"),
    path("parts/<int:pk>/replace/", pages.replace, name="replace"),
    path("parts/replacements/<int:pk>/undo/", pages.undo_replacement, name="undo-replacement"),
    path("parts/<int:pk>/alternatives/new/", pages.add_alternative, name="add-alternative"),
    path("parts/alternatives/<int:pk>/remove/", pages.remove_alternative, name="remove-alternative"),
    path("parts/<int:pk>/packages/", pages.packages, name="packages"),
    path("parts/packages/<int:pk>/remove/", pages.remove_package, name="remove-package"),
    path("parts/<int:pk>/charges/", pages.charges, name="charges"),
    path("parts/charges/<int:pk>/", pages.edit_charge, name="edit-charge"),
    path("parts/charges/<int:pk>/archive/", pages.archive_charge, name="archive-charge"),
    path("parts/prices/", pages.price_rules, name="prices"),
    path("parts/prices/new/", pages.add_price_rule, name="add-price"),
    path("parts/prices/<int:pk>/", pages.edit_price_rule, name="edit-price"),
    path("parts/prices/<int:pk>/archive/", pages.archive_price_rule, name="archive-price"),
    path("parts/<int:pk>/kit/", pages.kit, name="kit"),
    path("parts/kits/<int:pk>/remove/", pages.take_out_of_kit, name="take-out-of-kit"),
]
