from django.apps import AppConfig


class NumberingConfig(AppConfig):
    name = "shop.numbering"
    label = "shop_numbering"
    default_auto_field = "django.db.models.BigAutoField"
