from django.apps import AppConfig


class ConfigConfig(AppConfig):
    name = "shop.config"
    label = "shop_config"
