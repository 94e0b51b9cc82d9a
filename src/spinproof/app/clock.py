"""The one place that reads the wall clock; everything below takes the instant as an argument."""

from datetime import UTC, datetime


def utc_now() -> datetime:
    """Give the present instant, in UTC."""
    return datetime.now(UTC)  # noqa: TID251 - this is the edge that reads the clock


def rfc3339(instant: datetime) -> str:
    """Write an instant as RFC 3339 in UTC, with milliseconds and Z.

    Examples
    --------
    >>> rfc3339(datetime(2031, 5, 6, 7, 8, 9, 123000, tzinfo=UTC))
    '2031-05-06T07:08:09.123Z'
    """
    return instant.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3] + "Z"
