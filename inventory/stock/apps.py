from django.apps import AppConfig


class StockConfig(AppConfig):
    name = "inventory.stock"
    label = "inventory_stock"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from shop.ui import panels

        from .pages.shelf import of_part

        panels.add("part", "stock.read", of_part)
