from django.urls import path

from . import pages

# "cards:card", "cards:open" and "cards:mine" need every room: jobs.desk serves them together with these.
app_name = "cards"
urlpatterns = [
    path("cards/", pages.cards, name="list"),
    path("cards/<int:pk>/edit/", pages.edit_card, name="edit"),
    path("cards/<int:pk>/arrived/", pages.arrived, name="arrived"),
    path("cards/<int:pk>/finish/", pages.finish, name="finish"),
    path("cards/<int:pk>/reopen/", pages.reopen, name="reopen"),
    path("cards/<int:pk>/resume/", pages.resume, name="resume"),
    path("cards/<int:pk>/notes/", pages.note, name="note"),
    path("cards/<int:pk>/history/", pages.history, name="history"),
    path("cards/<int:card>/stages/new/", pages.add_stage, name="add-stage"),
    path("cards/<int:card>/stages/<int:pk>/", pages.stage, name="stage"),
    path("cards/<int:card>/stages/<int:pk>/edit/", pages.edit_stage, name="edit-stage"),
    path("cards/<int:card>/stages/<int:pk>/move/", pages.move, name="move-stage"),
    path("cards/<int:card>/stages/<int:pk>/remove/", pages.remove_stage, name="remove-stage"),
    path("cards/<int:card>/stages/<int:pk>/start/", pages.start, name="start"),
    path("cards/<int:card>/stages/<int:pk>/unfinish/", pages.unfinish, name="unfinish"),
    path("cards/<int:card>/stages/<int:pk>/resume/", pages.resume_stage, name="resume-stage"),
    path("cards/<int:card>/stages/<int:pk>/gates/", pages.add_gate, name="add-gate"),
    path("cards/<int:card>/gates/<int:pk>/sign/", pages.sign, name="sign"),
    path("cards/<int:card>/gates/<int:pk>/remove/", pages.remove_gate, name="remove-gate"),
]
