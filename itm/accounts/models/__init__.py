from itm.accounts.models.people import Membership, Organisation, User
from itm.accounts.models.tokens import ApiToken

__all__ = ["ApiToken", "Membership", "Organisation", "User"]
