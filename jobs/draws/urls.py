from django.urls import path

from . import pages

app_name = "draws"
urlpatterns = [
    path("cards/<int:card>/stages/<int:stage>/draw/", pages.draw, name="draw"),
    path("cards/<int:card>/stages/<int:stage>/fit/", pages.fit_all, name="fit-all"),
    path("cards/<int:card>/stages/<int:stage>/needs/", pages.add_need, name="add-need"),
    path("cards/<int:card>/keep/", pages.keep_all, name="keep-all"),
    path("draws/<int:pk>/", pages.drawn, name="drawn"),
    path("draws/<int:pk>/undo/", pages.undo, name="undo"),
    path("needs/<int:pk>/", pages.edit_need, name="edit-need"),
    path("needs/<int:pk>/keep/", pages.keep, name="keep"),
    path("needs/<int:pk>/let-go/", pages.let_go, name="let-go"),
    path("needs/<int:pk>/remove/", pages.remove_need, name="remove-need"),
]
