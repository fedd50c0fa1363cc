"""Forecasts of a site's outdoor air: take one in, and tell the newest."""

from datetime import datetime

from drumkeep.domain.air_forecasts import OutdoorForecast
from drumkeep.domain.air_habits import OPEN_AIR_KINDS
from drumkeep.domain.grid import to_ms
from drumkeep.errors import Fault, NotFound
from drumkeep.operations.sites import site_at
from drumkeep.storage import air, catalogue, place_marks
from drumkeep.storage.tables.air import AirForecast
from drumkeep.storage.transaction import Tx


def put_forecast(
    tx: Tx, *, site: str, forecast: OutdoorForecast, by: str, now: datetime
) -> AirForecast:
    """Take in a forecast that was checked, and have the drums out there looked ahead for anew.

    Parameters
    ----------
    tx
        A writing transaction.
    site
        Code of the site.
    forecast
        What was sent; the one issued last is used.
    by
        Who sent it.
    now
        The present, UTC.

    Raises
    ------
    NotFound
        There is no such site.
    """
    at = site_at(tx, code=site)
    row = air.put_forecast(
        tx,
        AirForecast(
            site_id=at.id,
            issued_at=forecast.issued_at,
            received_at=now,
            by=by,
            points=[[float(s), float(c)] for s, c in zip(forecast.at_s, forecast.c, strict=True)],
        ),
    )
    outside = [p for p in catalogue.places_of_site(tx, site_id=at.id) if p.kind in OPEN_AIR_KINDS]
    place_marks.lower(tx, from_ms={place.id: to_ms(now) for place in outside})
    return row


def newest_forecast(tx: Tx, *, site: str) -> AirForecast:
    """Return the forecast of a site that was issued last.

    Raises
    ------
    NotFound
        There is no such site, or no forecast of it.
    """
    row = air.newest_forecast(tx, site_id=site_at(tx, code=site).id)
    if row is None:
        mend = "Send one with PUT, or with drumkeep import air-forecast."
        raise NotFound(
            "There is no forecast of this site's air.",
            [Fault("site", site, "has no forecast yet", mend)],
        )
    return row
