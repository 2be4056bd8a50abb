from django.apps import AppConfig


class FindingsConfig(AppConfig):
    name = "itm.findings"
    label = "findings"
