from django.apps import AppConfig


class BuyingConfig(AppConfig):
    name = "inventory.buying"
    label = "inventory_buying"
    default_auto_field = "django.db.models.BigAutoField"
