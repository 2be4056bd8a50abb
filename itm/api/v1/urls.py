from django.urls import URLPattern

from itm.api.v1 import (
    authority_visits,
    checks,
    computing,
    concentrate,
    duties,
    findings,
    handing_in,
    inspections,
    instruments,
    keeping,
    keeping_rules,
    orders,
    overdue,
    photos,
    questions,
    records,
    sites,
    trends,
)

app_name = "v1"
urlpatterns: list[URLPattern] = [
    *computing.urls,
    *sites.urls,
    *concentrate.urls,
    *instruments.urls,
    *duties.urls,
    *findings.urls,
    *overdue.urls,
    *authority_visits.urls,
    *questions.urls,
    *orders.urls,
    *keeping_rules.urls,
    *keeping.urls,
    *inspections.urls,
    *handing_in.urls,
    *photos.urls,
    *records.urls,
    *checks.urls,
    *trends.urls,
]
