"""The smallest valid line of older papers, of each kind but results of tests."""

from datetime import date
from decimal import Decimal

import factory

from itm.records.models import PastBundle, PastCheckLine, PastInspection
from itm.registry.models import Site
from tests.factories import PastBundleFactory, TankFactory, TrackedFactory


class PastCheckLineFactory(TrackedFactory):
    """Brought in by a contractor that is engaged at the site, if one is."""

    class Meta:
        model = PastCheckLine

    tank = factory.SubFactory(TankFactory)
    bundle = factory.LazyAttribute(lambda made: bundle_at(made.tank.site))
    point = "bottom"
    sampled_on = date(2014, 6, 15)
    name = "ph"
    value = Decimal("7.6")
    value_typed = "7.6"


class PastInspectionFactory(TrackedFactory):
    """The same of an inspection."""

    class Meta:
        model = PastInspection

    tank = factory.SubFactory(TankFactory)
    site = factory.LazyAttribute(lambda made: made.tank.site)
    bundle = factory.LazyAttribute(lambda made: bundle_at(made.site))
    task = "Look at the tank"
    done_on = date(2019, 3, 4)
    outcome = "in_order"


def bundle_at(site: Site) -> PastBundle:
    grant = site.grants.first()
    bundle: PastBundle = PastBundleFactory(
        **({"organisation": grant.organisation} if grant else {})
    )
    return bundle
