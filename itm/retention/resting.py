"""What rests on a stored file: then nobody takes it from those who read what rests on it."""

from itm.core.figures import day
from itm.findings.models import Step
from itm.records.models import Photo, ProportioningTest
from itm.registry.models import Attachment
from itm.retention.inspected import pictured

State = ProportioningTest.State


def rests_on(row: Attachment) -> str:
    """In words, the first that is found; empty where nothing does.

    A record counts from the moment it is handed in: others read it and may have acted on it.
    """
    handed_in = [State.HANDED_IN, State.SEALED]
    shown = Photo.objects.filter(attachment=row, visit__tests__state__in=handed_in)
    photo = shown.select_related("visit").first()
    if photo is not None and photo.visit is not None:
        return f"the record of the test day of {day(photo.visit.planned_on)}"
    bottles = Photo.objects.filter(
        attachment=row, sample__concentrate_check__state__in=handed_in
    ).select_related("sample__concentrate_check__tank")
    if (photo := bottles.first()) is not None and photo.sample is not None:
        check = photo.sample.concentrate_check
        return f"the check of the concentrate of {check.tank} of {day(check.checked_on)}"
    step = Step.objects.filter(photo=row).select_related("deficiency").first()
    if step is not None:
        return (
            "what is noted of a deficiency" if step.deficiency else "what is noted of an impairment"
        )
    if row.site_id is not None and any(key == str(row.key) for _, key in pictured([row.site_id])):
        return "an answer of an inspection"
    return ""
