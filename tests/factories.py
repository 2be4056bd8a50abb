"""The smallest valid thing of each kind; a test passes only what it is about."""

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import factory
from django.db import connection, transaction
from django.utils import timezone

from itm.accounts.actor import Actor, acting, system
from itm.accounts.models import Membership, Organisation, User
from itm.core import triggers
from itm.notices.models import News
from itm.records.models import PastBundle, PastResult
from itm.registry import book
from itm.registry.models import (
    Attachment,
    Certificate,
    ChangeOver,
    ConcentrateLot,
    Equipment,
    FlowPoint,
    FoamSystem,
    Grant,
    Instrument,
    LotRange,
    Proportioner,
    Relocation,
    Site,
    SiteAuthority,
    Store,
    StoreMovement,
    Tank,
    TankMovement,
)
from itm.registry.restoring import FLUSH_ORDER, restoration_order
from tests.hashing import Quick

PASSWORD = "a long word for tests"
HASH = Quick().encode(PASSWORD, "as-long-as-salts-have-to-be")
TODAY = date(2026, 6, 15)
LITRES_A_MINUTE = 1e-3 / 60


class TrackedFactory(factory.django.DjangoModelFactory):
    class Meta:
        abstract = True

    @classmethod
    def _create(cls, model_class: Any, *args: Any, **kwargs: Any) -> Any:
        row = model_class(*args, **kwargs)
        row.save(by=system(TODAY))
        return row


class OrganisationFactory(TrackedFactory):
    class Meta:
        model = Organisation

    name = factory.Sequence(lambda n: f"Organisation {n}")
    kind = Organisation.Kind.OWNER


class UserFactory(TrackedFactory):
    class Meta:
        model = User

    email = factory.Sequence(lambda n: f"person{n}@example.org")
    name = factory.Sequence(lambda n: f"Person {n}")
    qualification = "Foam systems technician"
    licence_number = factory.Sequence(lambda n: f"L-{n}")
    password = HASH


class MembershipFactory(TrackedFactory):
    class Meta:
        model = Membership

    user = factory.SubFactory(UserFactory)
    organisation = factory.SubFactory(OrganisationFactory)
    role = Membership.Role.MANAGER


class SiteFactory(TrackedFactory):
    class Meta:
        model = Site

    owner = factory.SubFactory(OrganisationFactory)
    name = factory.Sequence(lambda n: f"Site {n}")
    time_zone = "Europe/Lisbon"


class SiteAuthorityFactory(TrackedFactory):
    class Meta:
        model = SiteAuthority

    site = factory.SubFactory(SiteFactory)
    organisation = factory.SubFactory(OrganisationFactory, kind=Organisation.Kind.AUTHORITY)


class GrantFactory(TrackedFactory):
    class Meta:
        model = Grant

    site = factory.SubFactory(SiteFactory)
    organisation = factory.SubFactory(OrganisationFactory, kind=Organisation.Kind.CONTRACTOR)
    starts_on = date(2015, 1, 1)


class FoamSystemFactory(TrackedFactory):
    class Meta:
        model = FoamSystem

    site = factory.SubFactory(SiteFactory)
    name = factory.Sequence(lambda n: f"System {n}")
    kind = FoamSystem.Kind.DELUGE
    fuel = FoamSystem.Fuel.HYDROCARBON
    minimum_flow = 600 * LITRES_A_MINUTE
    minimum_flow_typed = "600 L/min"
    design_flow = 1900 * LITRES_A_MINUTE
    design_flow_typed = "1900 L/min"
    required_minutes = 10
    commissioned_on = date(2018, 3, 1)


class TankFactory(TrackedFactory):
    class Meta:
        model = Tank

    site = factory.SubFactory(SiteFactory)
    tag = factory.Sequence(lambda n: f"T-{n}")
    kind = Tank.Kind.BLADDER
    capacity = 1.0
    capacity_typed = "1 m³"
    usable_volume = 0.95
    usable_volume_typed = "950 L"


class ConcentrateLotFactory(TrackedFactory):
    class Meta:
        model = ConcentrateLot

    owner = factory.SubFactory(OrganisationFactory)
    product = "Invented concentrate"
    kind = ConcentrateLot.Kind.SFFF
    nominal_percent = Decimal("3")
    batch = factory.Sequence(lambda n: f"B{n:04d}")


class LotRangeFactory(TrackedFactory):
    class Meta:
        model = LotRange

    lot = factory.SubFactory(ConcentrateLotFactory)
    name = "ph"
    lowest = Decimal("6.5")
    lowest_typed = "6.5"
    highest = Decimal("8.5")
    highest_typed = "8.5"


class TankFillFactory(TrackedFactory):
    """Also what nobody can have meant, as older papers have it: only there does the book bear it,
    so there the guards are lifted as a migration does."""

    class Meta:
        model = TankMovement

    @classmethod
    @transaction.atomic
    def _create(cls, model_class: Any, *args: Any, **kwargs: Any) -> Any:
        row = model_class(*args, **kwargs)
        tank, before = book.opened(row.tank)
        row.save(by=system(TODAY))
        after = book.lines_of(tank)
        if book.problems_of(after).keys() <= book.problems_of(before).keys():
            book.settled(tank, before)
        else:
            with triggers.lifted(connection):
                book.settled(tank, after)
        row.refresh_from_db(fields=["held", "left", "excess"])
        return row

    kind = TankMovement.Kind.FILL
    tank = factory.SubFactory(TankFactory)
    lot = factory.SubFactory(ConcentrateLotFactory)
    moved_on = date(2018, 2, 1)
    volume = 0.95
    volume_typed = "950 L"


class ChangeOverFactory(TrackedFactory):
    """As the service leaves it: what stood in the tank drained, and a free lot filled in."""

    class Meta:
        model = ChangeOver

    tank = factory.SubFactory(TankFactory)
    system = factory.SubFactory(FoamSystemFactory, site=factory.SelfAttribute("..tank.site"))
    changed_on = date(2024, 5, 6)
    papers = "waste paper 17"
    noted_by = "Somebody"
    to_lot = factory.SubFactory(
        ConcentrateLotFactory, owner=factory.SelfAttribute("..tank.site.owner"), pfas="free"
    )
    from_lot = factory.LazyAttribute(lambda made: made.tank.movements.first().lot)
    drain = factory.SubFactory(
        TankFillFactory, kind="drain", tank=factory.SelfAttribute("..tank"), lot=None,
        moved_on=factory.SelfAttribute("..changed_on"), volume=None, volume_typed="",
        reason="changed over", cleaned="three rinses",
    )  # fmt: skip
    fill = factory.SubFactory(
        TankFillFactory, tank=factory.SelfAttribute("..tank"),
        lot=factory.SelfAttribute("..to_lot"), position=1,
        moved_on=factory.SelfAttribute("..changed_on"),
    )  # fmt: skip


class StoreFactory(TrackedFactory):
    class Meta:
        model = Store

    site = factory.SubFactory(SiteFactory)
    lot = factory.SubFactory(ConcentrateLotFactory, owner=factory.SelfAttribute("..site.owner"))
    standing = Store.Standing.SUPPLY


class StoreMovementFactory(TrackedFactory):
    """The first that came in."""

    class Meta:
        model = StoreMovement

    store = factory.SubFactory(StoreFactory)
    kind = StoreMovement.Kind.RECEIPT
    moved_on = date(2024, 2, 1)
    volume = 0.4
    volume_typed = "400 L"
    left = factory.SelfAttribute("volume")


class ProportionerFactory(TrackedFactory):
    """With the two flow points that every proportioner has: minimum and design."""

    class Meta:
        model = Proportioner
        skip_postgeneration_save = True  # the flow points are rows of their own

    system = factory.SubFactory(FoamSystemFactory)
    tank = factory.SubFactory(TankFactory, site=factory.SelfAttribute("..system.site"))
    tag = factory.Sequence(lambda n: f"PR-{n}")
    kind = Proportioner.Kind.BLADDER_TANK
    nominal_percent = Decimal("3")
    flush_order = factory.LazyFunction(lambda: list(FLUSH_ORDER))
    restoration_order = factory.LazyFunction(lambda: restoration_order("bladder", "bladder_tank"))

    @factory.post_generation
    def flow_points(self: Any, create: bool, extracted: Any, **kwargs: Any) -> None:
        points = (extracted or {"minimum": 600, "design": 1900}) if create else {}
        for name, litres in points.items():
            FlowPoint.objects.create(
                by=system(TODAY),
                proportioner=self,
                name=name,
                flow=litres * LITRES_A_MINUTE,
                flow_typed=f"{litres} L/min",
            )


class EquipmentFactory(TrackedFactory):
    """A locked valve that stands open at a system."""

    class Meta:
        model = Equipment

    site = factory.SubFactory(SiteFactory)
    system = factory.SubFactory(FoamSystemFactory, site=factory.SelfAttribute("..site"))
    tag = factory.Sequence(lambda n: f"V-{n}")
    kind = Equipment.Kind.VALVE
    variety = "locked"
    normal_position = factory.LazyAttribute(lambda row: "open" if row.kind == "valve" else "")


class RelocationFactory(TrackedFactory):
    """Equipment that came to its system from the site alone."""

    class Meta:
        model = Relocation

    equipment = factory.SubFactory(EquipmentFactory)
    site = factory.SelfAttribute("equipment.site")
    to_system = factory.SelfAttribute("equipment.system")
    moved_on = date(2024, 5, 6)
    noted_by = "Somebody"


class AttachmentFactory(TrackedFactory):
    """A photo of the owner on the site alone; its file holds what the test gives."""

    class Meta:
        model = Attachment

    site = factory.SubFactory(SiteFactory)
    organisation = factory.SelfAttribute("site.owner")
    name = "valve.png"
    content_type = Attachment.ContentType.PNG
    file = factory.django.FileField(filename="valve.png", data=b"a picture")
    preview = factory.django.FileField(filename="preview.jpg", data=b"a small picture")
    size = 9
    sha256 = "0" * 64
    added_by = "Somebody"
    added_at = datetime(2024, 5, 6, 7, 8, tzinfo=UTC)


class CertificateFactory(TrackedFactory):
    class Meta:
        model = Certificate

    number = factory.Sequence(lambda n: f"C-{n}")


class InstrumentFactory(TrackedFactory):
    """With a certificate in date, or none when asked for."""

    class Meta:
        model = Instrument
        skip_postgeneration_save = True  # the certificate is a row of its own

    organisation = factory.SubFactory(OrganisationFactory, kind=Organisation.Kind.CONTRACTOR)
    name = "Bench refractometer"
    serial_number = factory.Sequence(lambda n: f"S{n}")
    method = Instrument.Method.REFRACTIVE_INDEX
    resolution = Decimal("0.00001")

    @factory.post_generation
    def certified(self: Any, create: bool, extracted: Any, **kwargs: Any) -> None:
        if extracted is not False:
            CertificateFactory(instrument=self, number="C-1", due_on=date(2027, 1, 1))


class NewsFactory(factory.django.DjangoModelFactory):
    """Due dates moved at a site: told to everybody who sees it."""

    class Meta:
        model = News

    kind = News.Kind.SHIFTED
    subject = "duties"
    at = factory.LazyFunction(timezone.now)
    source = factory.Sequence(lambda n: f"made {n}")

    @classmethod
    def _create(cls, model_class, *args, **kwargs):
        row = model_class(*args, **kwargs)
        row.save()
        return row


class PastBundleFactory(TrackedFactory):
    class Meta:
        model = PastBundle

    organisation = factory.SubFactory(OrganisationFactory, kind=Organisation.Kind.CONTRACTOR)
    name = "folder 12"
    noted_by = "Somebody"
    noted_at = datetime(2026, 5, 6, 7, 8, tzinfo=UTC)


class PastResultFactory(TrackedFactory):
    """Brought in by a contractor that is engaged at the site, if one is."""

    class Meta:
        model = PastResult

    proportioner = factory.SubFactory(ProportionerFactory)
    bundle = factory.LazyAttribute(lambda made: _bundle_of(made.proportioner))
    flow_point = "design"
    tested_on = date(2012, 5, 14)
    percent = Decimal("3.12")
    percent_typed = "3.12"


def _bundle_of(device: Proportioner) -> PastBundle:
    grant = device.system.site.grants.first()
    bundle: PastBundle = PastBundleFactory(
        **({"organisation": grant.organisation} if grant else {})
    )
    return bundle


def actor_of(organisation: Organisation, role: str = "manager", today: date = TODAY) -> Actor:
    """A new person in that organisation, who showed just now who it is."""
    return acting(MembershipFactory(organisation=organisation, role=role), today, proved=True)
