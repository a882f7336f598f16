from django.urls import path, re_path

from . import pages

app_name = "import"
urlpatterns = [
    path("import/", pages.start, name="start"),
    path("import/<int:pk>/", pages.run, name="run"),
    path("import/<int:pk>/write/", pages.write, name="write"),
    path("import/empty/<slug:kind>.csv", pages.template, name="template"),
    re_path(r"^export/(?P<kind>[a-z]{1,20})\.(?P<form>csv|xlsx)$", pages.export, name="export"),
]
