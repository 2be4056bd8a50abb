from itm.findings.models.deficiencies import Deficiency
from itm.findings.models.lives import Step

__all__ = ["Deficiency", "Step"]
