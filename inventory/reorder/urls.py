from django.urls import path

from . import pages

app_name = "reorder"
urlpatterns = [
    path("reorder/", pages.proposals, name="list"),
    path("reorder/run/", pages.run, name="run"),
    path("reorder/rules/", pages.rules, name="rules"),
    path("reorder/rules/add/", pages.add_rule, name="add-rule"),
    path("reorder/rules/<int:pk>/", pages.edit_rule, name="rule"),
    path("reorder/<int:pk>/", pages.proposal, name="proposal"),
    path("reorder/<int:pk>/order/", pages.order, name="order"),
    path("reorder/<int:pk>/put-off/", pages.put_off, name="put-off"),
]
