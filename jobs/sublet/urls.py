from django.urls import path

from . import pages

app_name = "sublet"
urlpatterns = [
    path("cards/<int:card>/stages/<int:stage>/sent-out/", pages.record, name="record"),
    path("sent-out/<int:pk>/", pages.bill, name="bill"),
    path("sent-out/<int:pk>/take-back/", pages.take_back, name="take-back"),
]
