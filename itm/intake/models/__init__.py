from itm.intake.models.many import ManyDays, OneOfMany
from itm.intake.models.receipts import Receipt
from itm.intake.models.uploads import HeadMemory, Upload

__all__ = ["HeadMemory", "ManyDays", "OneOfMany", "Receipt", "Upload"]
