from itm.schedule.models.duties import ASKED, TO_COME, Duty
from itm.schedule.models.programmes import Programme, Requirement

__all__ = ["ASKED", "TO_COME", "Duty", "Programme", "Requirement"]
