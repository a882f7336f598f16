from django.urls import path

from . import pages

app_name = "estimates"
urlpatterns = [
    path("estimates/", pages.estimates, name="list"),
    path("cards/<int:card>/estimate/", pages.draft, name="draft"),
    path("estimates/<int:pk>/", pages.estimate, name="estimate"),
    path("estimates/<int:pk>/lines/", pages.add_line, name="add-line"),
    path("estimates/<int:pk>/lines/<int:line>/", pages.edit_line, name="edit-line"),
    path("estimates/<int:pk>/whole/", pages.edit_whole, name="edit-whole"),
    path("estimates/<int:pk>/todays-prices/", pages.todays_prices, name="todays-prices"),
    path("estimates/<int:pk>/issue/", pages.issue, name="issue"),
    path("estimates/<int:pk>/discard/", pages.discard, name="discard"),
    path("estimates/<int:pk>/revise/", pages.revise, name="revise"),
    path("estimates/<int:pk>/withdraw/", pages.withdraw, name="withdraw"),
    path("estimates/<int:pk>/go-ahead/", pages.go_ahead, name="go-ahead"),
    path("estimates/<int:pk>/within-limit/", pages.within_limit, name="within-limit"),
    path("estimates/<int:pk>/pdf/", pages.pdf, name="pdf"),
]
