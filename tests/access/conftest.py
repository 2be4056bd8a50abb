"""Everything that an address can name, for the tables of pages and of the interface."""

import io
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from uuid import uuid4

import pytest
from django.contrib.auth.tokens import default_token_generator
from django.utils import timezone

from itm.accounts import entrance, inviting, tokens
from itm.accounts.models import ApiToken, Invitation
from itm.accounts.sessions import SessionStore
from itm.actions import restore
from itm.actions.adopt import adopt
from itm.actions.note_happening import note_happening
from itm.actions.settle_rows import confirm, set_terms
from itm.archives import services as archives
from itm.core.quantities import Quantity
from itm.findings import asking
from itm.findings.clocks import adopt_clock
from itm.findings.deciding import note_by_hand, note_repair
from itm.findings.impairing import open_by_hand
from itm.findings.models import NoticeClock
from itm.findings.overdue import say_overdue
from itm.findings.visiting import note_visit
from itm.intake.models import ManyDays
from itm.notices import services as notices
from itm.notices.stopping import AT_ONCE, stop_token
from itm.records import effluent
from itm.records.witnessing import sign_as_witness
from itm.registry import links
from itm.registry.attaching import Upload
from itm.reports import batches
from itm.reports.address import opens
from itm.reports.models import Batch
from itm.schedule.adopting import Agreed
from itm.schedule.models import Duty, Programme, Requirement
from tests.checks import answered, checked, with_report
from tests.deeds import discharged, inspection_of, prepared, read, tested
from tests.direct_deeds import direct_day
from tests.factories import (
    TODAY,
    AttachmentFactory,
    ChangeOverFactory,
    EquipmentFactory,
    MembershipFactory,
    NewsFactory,
    PastResultFactory,
    RelocationFactory,
    StoreMovementFactory,
)
from tests.factories_past import PastCheckLineFactory, PastInspectionFactory
from tests.itm.intake.imports import handed_in
from tests.itm.registry.pictures import picture
from tests.keeping import adopted, decided, paper
from tests.letters import last_link

NOON = datetime.combine(TODAY, time(12), UTC)


@pytest.fixture
def things(scene) -> dict[str, dict]:
    """Keys of everything that an address can name: a sealed record, and a visit under way."""
    sealed = tested(scene)
    day = read(discharged(prepared(scene)), {"minimum": 3.2, "design": 3.4})
    test, run = day.test, day.test.runs.first()
    bottle = run.bottles.first()
    lines = list(test.visit.restoration_lines.order_by("position"))
    restore.end_line(actor=day.actor, line=lines[0], outcome="restored", at=day.tick())
    standard = test.bench.bottles.get(label="S1")
    programme = Programme.objects.get(code="us-nfpa25-foam-water")
    row = programme.requirements.get(code="N25-25")
    adoption, _ = adopt(actor=scene.owner, programme=programme, starts_on=TODAY, site=scene.site)
    [given], _ = confirm(
        actor=scene.owner, adoption=adoption, requirements=[row], checked_against="it", today=TODAY
    )
    agreed = Agreed(scene.authority.organisation, "yearly", "its head", TODAY, "letter 1")
    loose, _ = set_terms(
        actor=scene.owner, adoption=adoption, requirement=row, starts_on=TODAY, window=None,
        agreed=agreed,
    )  # fmt: skip
    inspected = inspection_of(scene)
    happened, _ = note_happening(
        actor=scene.owner, site=scene.site, system=scene.system, kind="repair",
        happened_on=TODAY, words="new seal", today=TODAY,
    )  # fmt: skip
    caught = effluent.note(
        actor=scene.owner, site=scene.site, visit=None, today=TODAY, kind="discharged",
        happened_on=TODAY, volume=Quantity(1.0, "1000 L"),
    )  # fmt: skip
    stored = StoreMovementFactory(store__site=scene.site)
    papered = with_report(scene)
    drafted = checked(scene, until="draft", on=TODAY - timedelta(days=400))
    bottle_of_check = drafted.samples.first()
    drafted_report = answered([bottle_of_check], scene.contractor)
    direct = direct_day(scene, "two_flows").test
    wrong = note_by_hand(
        actor=scene.owner, site=scene.site, thing=scene.system, severity=3, words="A sign is gone",
        found_on=TODAY, at=NOON,
    )  # fmt: skip
    step = note_repair(
        actor=scene.owner, deficiency=wrong, part="sign", who="The porter", repaired_at=NOON,
        at=NOON,
    )  # fmt: skip
    out = open_by_hand(
        actor=scene.owner, site=scene.site, systems=[scene.system], reason="a leak",
        coordinator="Duty engineer", started_at=NOON, at=NOON,
    )  # fmt: skip
    clock = NoticeClock.objects.get(code="commanders-at-72-hours")
    [held] = adopt_clock(
        actor=scene.owner, clock=clock, sites=[scene.site], checked_against="", at=NOON
    )
    asked_here = Requirement.objects.filter(programme__everywhere=True).earliest("pk")
    said = say_overdue(
        actor=scene.owner, site=scene.site, requirement=asked_here, severity=3, because="we say so",
        at=NOON,
    )  # fmt: skip
    seen = note_visit(
        actor=scene.authority, site=scene.site, visited_on=TODAY, present="A", looked_at="a valve",
        at=NOON, uploads=[Upload(io.BytesIO(picture()), "valve.png")],
    )  # fmt: skip
    asked = asking.ask(actor=scene.authority, record=sealed, words="Which water?", at=NOON)
    witnessed = sign_as_witness(
        actor=replace(scene.authority, proved=True), record=sealed, saw=["bench"], name="A",
        qualification="Q", present_on=sealed.tested_on, at=NOON,
    )  # fmt: skip
    ordered = asking.order(
        actor=scene.authority, site=scene.site, words="Retest it", due_on=TODAY, at=NOON
    )
    now = timezone.now()
    link, secret = links.make(
        actor=scene.owner, name="an insurer", sites=[scene.site], ends_on=now.date(), at=now
    )
    return {
        "": {},
        "direct draft": {"key": direct.key},
        "direct run": {"key": direct.runs.first().key},
        "deficiency": {"key": wrong.key},
        "deficiency and step": {"key": wrong.key, "step": step.key},
        "impairment": {"key": out.key},
        "clock": {"code": clock.code},
        **kept(scene),
        "adopted clock": {"key": held.key},
        "row at the site": {"key": scene.site.key, "row": asked_here.pk},
        "overdue rule": {"key": said.key},
        "authority visit": {"key": seen.key},
        "authority file": {"key": seen.files.get().key},
        "question": {"key": asked.key},
        "order": {"key": ordered.key},
        "sealed check": {"key": papered.key},
        "sealed check and size": {"key": papered.key, "size": "letter"},
        "sealed laboratory report": {"key": papered.laboratory_reports.get().key},
        "draft check": {"key": drafted.key},
        "bottle": {"key": bottle_of_check.key},
        "value": {"key": bottle_of_check.values.first().key},
        "laboratory report": {"key": drafted_report.key},
        "duty": {"key": Duty.objects.filter(site=scene.site).latest("pk").key},
        "happening": {"key": happened.key},
        "line of effluent": {"key": caught.key},
        "site and date of the law": {"key": scene.site.key, "code": "eu-end"},
        "site and kind of effluent": {"key": scene.site.key, "kind": "hauled"},
        "inspection": {"key": inspected.key},
        "line of inspection": {"key": inspected.lines.get().key},
        "programme": {"pk": programme.pk},
        "adoption": {"key": adoption.key},
        "consent": {"key": loose.consent.key},
        "row of adoption": {"key": adoption.key, "row": row.pk},
        "confirmation": {"key": given.key},
        "site": {"key": scene.site.key},
        "archive": {"key": archives.ask(actor=scene.owner, site=scene.site, at=now).key},
        "oversight": {"key": scene.site.site_authorities.get().key},
        "attachment": {"key": AttachmentFactory(site=scene.site).key},
        "grant": {"key": scene.site.grants.get().key},
        "system": {"key": scene.system.key},
        "proportioner": {"key": scene.proportioner.key},
        "tank": {"key": scene.tank.key},
        "equipment": {"key": EquipmentFactory(site=scene.site, system=scene.system).key},
        "tank and kind": {"key": scene.tank.key, "kind": "top-up"},
        "changeover": {"key": ChangeOverFactory(tank=scene.tank, system=scene.system).key},
        "movement": {"key": scene.tank.movements.first().key},
        "move": {"key": RelocationFactory(equipment__site=scene.site).key},
        "store": {"key": stored.store.key},
        "store and kind": {"key": stored.store.key, "kind": "disposal"},
        "store movement": {"key": stored.key},
        "lot": {"key": scene.tank.movements.first().lot.key},
        "instrument": {"key": scene.instrument.key},
        "certificate": {"key": scene.instrument.certificates.get().key},
        "visit": {"key": test.visit.key},
        "site and year": {"key": scene.site.key, "year": TODAY.year},
        "site, year and size": {"key": scene.site.key, "year": TODAY.year, "size": "a4"},
        "visit and size": {"key": test.visit.key, "size": "a4"},
        "size": {"size": "a4"},
        "proportioner and size": {"key": scene.proportioner.key, "size": "a4"},
        "tank and size": {"key": scene.tank.key, "size": "a4"},
        "lot and size": {"key": scene.tank.movements.first().lot.key, "size": "a4"},
        "kind of record": {"kind": "tests"},
        "batch": {"key": batch_of(scene.contractor, sealed).key},
        "draft and label": {"key": test.key, "label": "S1"},
        "draft": {"key": test.key},
        "draft and point": {"key": test.key, "point": run.flow_point.key},
        "draft and bottle": {"key": test.key, "bottle": standard.key},
        "draft and reading": {"key": test.key, "reading": bottle.readings.get().key},
        "run": {"key": run.key},
        "sample": {"key": bottle.key},
        "step": {"key": test.flush_steps.last().key},
        "line": {"key": lines[0].key},
        "sealed": {"key": sealed.key},
        "sealed and size": {"key": sealed.key, "size": "letter"},
        "witness": {"key": witnessed.key},
        "kind of table": {"kind": "history"},
        "import": {"key": handed_in(scene.contractor, "history", "a;b\n1;2\n").key},
        "past result": {"key": PastResultFactory(proportioner=scene.proportioner).key},
        "past check": {"key": PastCheckLineFactory(tank=scene.tank).key},
        "past inspection": {"key": PastInspectionFactory(tank=scene.tank).key},
        "many days": {"key": _many_days(scene.contractor)},
        "digest": {"digest": sealed.seal.digest},
        "report": {"digest": sealed.seal.digest, "key": opens(bytes(sealed.seal.document))},
        "read link": {"key": link.key},
        "shared": {"token": secret},
        "shared site": {"token": secret, "key": scene.site.key},
        "shared test": {"token": secret, "key": sealed.key},
        "shared test and size": {"token": secret, "key": sealed.key, "size": "letter"},
        "shared check": {"token": secret, "key": papered.key},
        "shared check and size": {"token": secret, "key": papered.key, "size": "letter"},
        "person": {"key": MembershipFactory(organisation=scene.owner.organisation).key},
        "invitation": {"key": invited(scene.owner, "one@example.org").key},
        "session": {"name": session_of(scene.owner)},
        "reset": {
            "key": scene.owner.user.key,
            "token": default_token_generator.make_token(scene.owner.user),
        },
        "join": {"token": joining_link(scene.owner)},
        "token": {"key": made_token(scene.owner).key},
        "news": {"key": NewsFactory(site=scene.site, thing=scene.site.key).key},
        "feed": {"token": notices.new_feed(actor=scene.owner, at=timezone.now())},
        "subscription": {"token": stop_token(AT_ONCE, notices.membership_of(scene.owner))},
    }


def kept(scene) -> dict[str, dict]:
    """A file past its period, and what somebody decided about another."""
    adopted(scene, "eu-pfas-plan")
    one, other = (paper(scene, name=name, kind="plan") for name in ("a.pdf", "b.pdf"))
    assert one != other
    return {
        "rule": {"code": "eu-pfas-plan"},
        "period of keeping": {"key": scene.site.keeping_periods.get().key},
        "site and kind that is kept": {"key": scene.site.key, "kind": "plan"},
        "decision": {"key": decided(scene, "plan", other, at=timezone.now()).key},
    }


def batch_of(actor, record) -> Batch:
    return batches.ask(
        actor=actor, kind="tests", keys=[str(record.key)], words="one", at=timezone.now()
    )


def made_token(actor) -> ApiToken:
    now = timezone.now()
    return tokens.make(
        actor=actor, name="a program", scopes=["read"], expires_on=now.date(), at=now
    )[0]


def invited(actor, email: str) -> Invitation:
    return inviting.invite(actor=actor, email=email, role="member", at=timezone.now())


def joining_link(actor) -> str:
    invited(actor, "two@example.org")
    return last_link("join")


def session_of(actor) -> str:
    store = SessionStore()
    store["_auth_user_id"] = str(actor.user.pk)
    store.save()
    return entrance.name_of(entrance.sessions(actor.user, timezone.now()).get())


def _many_days(actor):
    """A hand-in of days that a program of the organisation sent."""
    token, _ = tokens.make(
        actor=actor, name="sent many days", scopes=("hand_in",), expires_on=timezone.now().date(),
        at=timezone.now(),
    )  # fmt: skip
    return ManyDays.objects.create(
        organisation=actor.organisation, token=token, key=uuid4(), asked_at=timezone.now()
    ).key
