from django.urls import path

from .pages import attendance, bookings

app_name = "timebook"
urlpatterns = [
    path("hours/", bookings.hours, name="list"),
    path("hours/mine/", bookings.mine, name="mine"),
    path("hours/people/<int:pk>/", bookings.week_of, name="week-of"),
    path("hours/book/", bookings.book, name="book"),
    path("hours/here/", attendance.here, name="here"),
    path("hours/gone/", attendance.gone, name="gone"),
    path("hours/attendance/", attendance.attendance, name="attendance"),
    path("hours/attendance/note/", attendance.note, name="note-attendance"),
    path("hours/attendance/<int:pk>/correct/", attendance.correct, name="correct-attendance"),
    path("hours/attendance/<int:pk>/take-out/", attendance.take_out, name="take-attendance-out"),
    path("hours/attendance/<int:pk>/went/", attendance.went, name="went"),
    path("hours/clock-off/", bookings.clock_off, name="clock-off"),
    path("hours/<int:pk>/correct/", bookings.correct, name="correct"),
    path("hours/<int:pk>/take-out/", bookings.take_out, name="take-out"),
    path("hours/<int:pk>/stop/", bookings.stop, name="stop"),
    path("cards/<int:card>/stages/<int:pk>/clock-on/", bookings.clock_on, name="clock-on"),
    path("cards/<int:card>/stages/<int:pk>/finish/", bookings.finish, name="finish"),
    path("cards/<int:card>/stages/<int:pk>/hold/", bookings.hold_stage, name="hold-stage"),
    path("cards/<int:pk>/hold/", bookings.hold_card, name="hold-card"),
]
