from django.apps import AppConfig


class UiConfig(AppConfig):
    name = "shop.ui"
    label = "shop_ui"
