from itm.accounts.models.invitations import Invitation
from itm.accounts.models.people import Membership, Organisation, User
from itm.accounts.models.tokens import ApiToken

__all__ = ["ApiToken", "Invitation", "Membership", "Organisation", "User"]
