from django.apps import AppConfig


class IntakeConfig(AppConfig):
    name = "itm.intake"
