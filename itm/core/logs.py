"""One JSON line an event, without addresses, tokens or readings."""

import re

import structlog

structlog.configure(
    processors=[
        structlog.contextvars.merge_contextvars,
        structlog.stdlib.add_logger_name,
        structlog.stdlib.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        structlog.processors.format_exc_info,
        structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
    ],
    logger_factory=structlog.stdlib.LoggerFactory(),
    cache_logger_on_first_use=True,
)

# Fields that packages add on their own and that name a person or a place.
PERSONAL = ("ip", "user_agent", "email")


# Addresses whose middle is a secret: of mails, of links for readers, and of the private calendar.
SECRET = re.compile(r"/(join|reset/[0-9a-f-]{36}|shared|calendar|unsubscribe)/[^/\s\"]+")


def renderer(logger: object, name: str, event: dict) -> str:
    for field in (*PERSONAL, "_record", "_from_structlog"):
        event.pop(field, None)
    for name in ("request", "event"):
        if isinstance(said := event.get(name), str):
            event[name] = SECRET.sub(r"/\1/…", said)
    return str(structlog.processors.JSONRenderer(default=str)(logger, name, event))
