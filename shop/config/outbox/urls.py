from django.urls import path

from . import pages

app_name = "outbox"
urlpatterns = [
    path("outbox/", pages.outbox, name="list"),
    path("outbox/<int:pk>/send-again/", pages.send_again, name="send-again"),
]
