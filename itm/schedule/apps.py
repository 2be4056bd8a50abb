from django.apps import AppConfig


class ScheduleConfig(AppConfig):
    name = "itm.schedule"
    label = "schedule"
