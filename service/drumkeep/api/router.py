"""The JSON API under ``/api/v1``, and what operations asks of the service."""

from fastapi import APIRouter

from drumkeep.api import (
    accounts,
    air_forecasts,
    alarms,
    audit,
    claims,
    consumables,
    counts,
    deliveries,
    drums,
    exports,
    forecasts,
    gateway_credentials,
    gateways,
    health,
    labels,
    lots,
    mappings,
    moves,
    notice_addresses,
    notices,
    photos,
    place_films,
    places,
    products,
    pulls,
    readings,
    readings_imports,
    rig_checks,
    sensors,
    session,
    sheet_imports,
    side_checks,
    sites,
    sparkplug,
    stock,
    strays,
    tokens,
    traces,
    why,
)
from drumkeep.api.addresses import API
from drumkeep.api.schemas.problems import PROBLEMS

NOUNS = (
    session,
    sites,
    air_forecasts,
    places,
    place_films,
    products,
    lots,
    gateways,
    gateway_credentials,
    mappings,
    sparkplug,
    sensors,
    strays,
    readings,
    readings_imports,
    sheet_imports,
    exports,
    drums,
    deliveries,
    moves,
    photos,
    claims,
    traces,
    why,
    stock,
    counts,
    consumables,
    rig_checks,
    labels,
    pulls,
    side_checks,
    forecasts,
    alarms,
    notices,
    accounts,
    notice_addresses,
    tokens,
    audit,
)


def make_router() -> APIRouter:
    """Put the routers of all nouns together."""
    router = APIRouter()
    router.include_router(health.router)
    for noun in NOUNS:
        router.include_router(noun.router, prefix=API, responses=PROBLEMS)
    return router
