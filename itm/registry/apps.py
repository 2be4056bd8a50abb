from django.apps import AppConfig


class RegistryConfig(AppConfig):
    name = "itm.registry"
    label = "registry"
