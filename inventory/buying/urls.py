from django.urls import path

from . import pages

app_name = "buying"
urlpatterns = [
    path("suppliers/", pages.suppliers, name="list"),
    path("suppliers/new/", pages.add_supplier, name="add"),
    path("suppliers/<int:pk>/", pages.supplier, name="supplier"),
    path("suppliers/<int:pk>/edit/", pages.edit_supplier, name="edit"),
    path("suppliers/<int:pk>/archive/", pages.archive_supplier, name="archive"),
    path("suppliers/<int:pk>/restore/", pages.restore_supplier, name="restore"),
]
