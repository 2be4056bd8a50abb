from itm.accounts.models.entrance import SignedIn, Try
from itm.accounts.models.invitations import Invitation
from itm.accounts.models.people import Membership, Organisation, User
from itm.accounts.models.second_factor import RecoveryCode, SecondFactor
from itm.accounts.models.tokens import ApiToken

__all__ = [
    "ApiToken",
    "Invitation",
    "Membership",
    "Organisation",
    "RecoveryCode",
    "SecondFactor",
    "SignedIn",
    "Try",
    "User",
]
