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
]
