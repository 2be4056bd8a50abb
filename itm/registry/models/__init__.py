from itm.registry.models.attachments import Attachment
from itm.registry.models.changeovers import ChangeOver
from itm.registry.models.concentrate import ConcentrateLot, Tank
from itm.registry.models.equipment import Equipment
from itm.registry.models.instruments import Certificate, Instrument
from itm.registry.models.links import LinkUse, ReadLink
from itm.registry.models.lot_ranges import LotRange
from itm.registry.models.movements import TankMovement
from itm.registry.models.pfas import PfasDateCheck
from itm.registry.models.promises import PromisedGrant
from itm.registry.models.relocations import Relocation
from itm.registry.models.sites import Grant, Site, SiteAuthority
from itm.registry.models.stores import Store, StoreMovement
from itm.registry.models.systems import FlowPoint, FoamSystem, Proportioner

__all__ = [
    "Attachment",
    "Certificate",
    "ChangeOver",
    "ConcentrateLot",
    "Equipment",
    "FlowPoint",
    "FoamSystem",
    "Grant",
    "Instrument",
    "LinkUse",
    "LotRange",
    "PfasDateCheck",
    "PromisedGrant",
    "Proportioner",
    "ReadLink",
    "Relocation",
    "Site",
    "SiteAuthority",
    "Store",
    "StoreMovement",
    "Tank",
    "TankMovement",
]
