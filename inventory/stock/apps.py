from django.apps import AppConfig


class StockConfig(AppConfig):
    name = "inventory.stock"
    label = "inventory_stock"
    default_auto_field = "django.db.models.BigAutoField"
