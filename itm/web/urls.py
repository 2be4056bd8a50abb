from django.urls import URLPattern, URLResolver

from itm.web import (
    account,
    bench,
    concentrate,
    discharge,
    homes,
    instruments,
    preparing,
    reports,
    restoring,
    results,
    retiring,
    sites,
    systems,
    trends,
    verify,
    visits,
)

urlpatterns: list[URLPattern | URLResolver] = [
    *account.urls,
    *homes.urls,
    *sites.urls,
    *systems.urls,
    *concentrate.urls,
    *instruments.urls,
    *retiring.urls,
    *visits.urls,
    *preparing.urls,
    *discharge.urls,
    *restoring.urls,
    *bench.urls,
    *results.urls,
    *trends.urls,
    *reports.urls,
    *verify.urls,
]
