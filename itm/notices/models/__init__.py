"""What people want to be told of, and what there was to tell."""

from itm.notices.models.news import SUBJECT_OF, SUBJECTS, TOLD, WRONGS, Gathering, News, ReadNews
from itm.notices.models.wishes import MOST_LEAD_DAYS, WEEKDAYS, Wish

__all__ = [
    "MOST_LEAD_DAYS",
    "SUBJECTS",
    "SUBJECT_OF",
    "TOLD",
    "WEEKDAYS",
    "WRONGS",
    "Gathering",
    "News",
    "ReadNews",
    "Wish",
]
