from django.apps import AppConfig


class NoticesConfig(AppConfig):
    name = "itm.notices"
    label = "notices"
