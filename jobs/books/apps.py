from django.apps import AppConfig


class BooksConfig(AppConfig):
    name = "jobs.books"
    label = "jobs_books"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from shop.kernel import closed

        from .actions import refuse_closed

        closed.GUARDS.append(refuse_closed)
