from django.urls import path

from . import pages

app_name = "documents"
urlpatterns = [
    path("files/<slug:subject>/<int:subject_id>/", pages.listing, name="files"),
    path("files/<slug:subject>/<int:subject_id>/add/", pages.add, name="add"),
    path("files/<int:pk>/", pages.content, name="content"),
    path("files/<int:pk>/small/", pages.thumbnail, name="thumbnail"),
    path("files/<int:pk>/show/", pages.show, name="show"),
    path("files/<int:pk>/archive/", pages.archive, name="archive"),
]
