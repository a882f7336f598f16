from django.apps import AppConfig


class BuyingConfig(AppConfig):
    name = "inventory.buying"
    label = "inventory_buying"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from shop.ui import panels

        from .pages.suppliers import of_part

        panels.add("part", "buying.read", of_part)
