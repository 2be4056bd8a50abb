from itm.schedule.models.adoptions import Adoption, Confirmation, Consent, Terms
from itm.schedule.models.duties import ASKED, TO_COME, Duty
from itm.schedule.models.happenings import Happening
from itm.schedule.models.programmes import Programme, Requirement

__all__ = [
    "ASKED",
    "TO_COME",
    "Adoption",
    "Confirmation",
    "Consent",
    "Duty",
    "Happening",
    "Programme",
    "Requirement",
    "Terms",
]
