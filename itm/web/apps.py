from django.apps import AppConfig


class WebConfig(AppConfig):
    name = "itm.web"
    label = "web"
