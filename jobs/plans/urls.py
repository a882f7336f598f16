from django.urls import path

from . import pages

app_name = "plans"
urlpatterns = [
    path("plans/", pages.plans, name="list"),
    path("plans/new/", pages.add_plan, name="add"),
    path("plans/<int:pk>/", pages.plan, name="plan"),
    path("plans/<int:pk>/edit/", pages.edit_plan, name="edit"),
    path("plans/<int:pk>/copy/", pages.copy_plan, name="copy"),
    path("plans/<int:pk>/archive/", pages.archive_plan, name="archive"),
    path("plans/<int:pk>/restore/", pages.restore_plan, name="restore"),
    path("plans/<int:pk>/stages/new/", pages.add_stage, name="add-stage"),
    path("plans/stages/<int:pk>/", pages.stage, name="stage"),
    path("plans/stages/<int:pk>/move/", pages.move_stage, name="move-stage"),
    path("plans/stages/<int:pk>/remove/", pages.remove_stage, name="remove-stage"),
    path("plans/stages/<int:pk>/gates/", pages.add_gate, name="add-gate"),
    path("plans/stages/<int:pk>/parts/", pages.add_part, name="add-part"),
    path("plans/gates/<int:pk>/", pages.edit_gate, name="gate"),
    path("plans/gates/<int:pk>/remove/", pages.remove_gate, name="remove-gate"),
    path("plans/parts/<int:pk>/", pages.edit_part, name="part"),
    path("plans/parts/<int:pk>/remove/", pages.remove_part, name="remove-part"),
]
