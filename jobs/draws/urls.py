from django.urls import path

from .pages import drawing, needs, supply, trays

app_name = "draws"
urlpatterns = [
    path("cards/<int:card>/stages/<int:stage>/draw/", drawing.draw, name="draw"),
    path("cards/<int:card>/stages/<int:stage>/fit/", drawing.fit_all, name="fit-all"),
    path("cards/<int:card>/stages/<int:stage>/needs/", needs.add_need, name="add-need"),
    path("cards/<int:card>/keep/", needs.keep_all, name="keep-all"),
    path("cards/<int:card>/order/", supply.order_missing, name="order-missing"),
    path("cards/<int:card>/stages/<int:stage>/tray/", trays.put_in, name="tray"),
    path("trays/<int:pk>/clear/", trays.clear, name="clear-tray"),
    path("draws/<int:pk>/", drawing.drawn, name="drawn"),
    path("draws/<int:pk>/undo/", drawing.undo, name="undo"),
    path("needs/<int:pk>/", needs.edit_need, name="edit-need"),
    path("needs/<int:pk>/keep/", needs.keep, name="keep"),
    path("needs/<int:pk>/let-go/", needs.let_go, name="let-go"),
    path("needs/<int:pk>/order/", supply.order_for, name="order-for"),
    path("needs/<int:pk>/move/", supply.move, name="move"),
    path("needs/<int:pk>/remove/", needs.remove_need, name="remove-need"),
]
