from django.urls import path

from . import pages

app_name = "alerts"
urlpatterns = [
    path("alerts/", pages.alerts, name="list"),
    path("alerts/look/", pages.look, name="look"),
    path("alerts/<int:pk>/aside/", pages.aside, name="aside"),
    path("alerts/<int:pk>/back/", pages.back, name="back"),
    path("me/alerts/", pages.mail, name="mail"),
]
