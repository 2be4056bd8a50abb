from itm.intake.models.receipts import Receipt
from itm.intake.models.uploads import HeadMemory, Upload

__all__ = ["HeadMemory", "Receipt", "Upload"]
