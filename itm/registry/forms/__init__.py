"""Forms of the registry. Each shows the database's own rules as sentences and keeps what was typed.

`form.values` are what the services take; a form itself saves nothing.
"""

from itm.registry.forms.attachments import AttachForm, WithdrawFileForm
from itm.registry.forms.base import Refusing
from itm.registry.forms.equipment import EquipmentForm
from itm.registry.forms.movements import ChangeOverForm, MovementForm, WithdrawForm
from itm.registry.forms.moves import MoveForm
from itm.registry.forms.pfas import PfasDateCheckForm, PfasPlacesForm
from itm.registry.forms.sites import (
    AdoptAtForm,
    AuthorityForm,
    EndForm,
    EngageForm,
    InviteContractorForm,
    LetGoForm,
    ReadLinkForm,
    ReassignForm,
    RetireForm,
    SiteForm,
)
from itm.registry.forms.stock import CertificateForm, InstrumentForm, LotForm, TankForm
from itm.registry.forms.stores import ReceiptForm, StoreMovementForm
from itm.registry.forms.systems import ProportionerForm, SystemForm, flow_point_rows

__all__ = [
    "AdoptAtForm",
    "AttachForm",
    "AuthorityForm",
    "CertificateForm",
    "ChangeOverForm",
    "EndForm",
    "EngageForm",
    "EquipmentForm",
    "InstrumentForm",
    "InviteContractorForm",
    "LetGoForm",
    "LotForm",
    "MoveForm",
    "MovementForm",
    "PfasDateCheckForm",
    "PfasPlacesForm",
    "ProportionerForm",
    "ReadLinkForm",
    "ReassignForm",
    "ReceiptForm",
    "Refusing",
    "RetireForm",
    "SiteForm",
    "StoreMovementForm",
    "SystemForm",
    "TankForm",
    "WithdrawFileForm",
    "WithdrawForm",
    "flow_point_rows",
]
