from django.urls import path

from . import pages

app_name = "labels"
urlpatterns = [
    path("labels/", pages.labels, name="labels"),
    path("labels/papers/", pages.paper_list, name="papers"),
    path("labels/papers/new/", pages.add_paper, name="add-paper"),
    path("labels/papers/<int:pk>/", pages.edit_paper, name="edit-paper"),
    path("labels/papers/<int:pk>/archive/", pages.archive_paper, name="archive-paper"),
]
