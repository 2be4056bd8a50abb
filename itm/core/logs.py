"""One JSON line an event, without addresses, tokens or readings."""

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


def renderer(logger: object, name: str, event: dict) -> str:
    for field in (*PERSONAL, "_record", "_from_structlog"):
        event.pop(field, None)
    return str(structlog.processors.JSONRenderer(default=str)(logger, name, event))
