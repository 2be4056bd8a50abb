from itm.schedule.models.duties import Duty
from itm.schedule.models.programmes import Programme, Requirement

__all__ = ["Duty", "Programme", "Requirement"]
