from django.urls import path

from . import pages

app_name = "timebook"
urlpatterns = [
    path("hours/", pages.hours, name="list"),
    path("hours/mine/", pages.mine, name="mine"),
    path("hours/people/<int:pk>/", pages.week_of, name="week-of"),
    path("hours/book/", pages.book, name="book"),
    path("hours/clock-off/", pages.clock_off, name="clock-off"),
    path("hours/<int:pk>/correct/", pages.correct, name="correct"),
    path("hours/<int:pk>/take-out/", pages.take_out, name="take-out"),
    path("hours/<int:pk>/stop/", pages.stop, name="stop"),
    path("cards/<int:card>/stages/<int:pk>/clock-on/", pages.clock_on, name="clock-on"),
    path("cards/<int:card>/stages/<int:pk>/finish/", pages.finish, name="finish"),
    path("cards/<int:card>/stages/<int:pk>/hold/", pages.hold_stage, name="hold-stage"),
    path("cards/<int:pk>/hold/", pages.hold_card, name="hold-card"),
]
