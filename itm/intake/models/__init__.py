from itm.intake.models.receipts import Receipt

__all__ = ["Receipt"]
