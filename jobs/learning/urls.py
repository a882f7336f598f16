from django.urls import path

from . import pages

app_name = "learning"
urlpatterns = [
    path("plans/stages/<int:pk>/hours/", pages.stage, name="stage"),
    path("plans/stages/<int:pk>/hours/take/", pages.take, name="take"),
    path("cards/<int:card>/stages/<int:pk>/set-aside/", pages.set_aside, name="set-aside"),
    path("cards/<int:card>/stages/<int:pk>/bring-back/", pages.bring_back, name="bring-back"),
]
