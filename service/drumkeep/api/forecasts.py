"""``/forecasts``: what if a drum stood in such air; nothing is stored."""

from fastapi import APIRouter, Depends

from drumkeep.api.schemas.forecasts import ForecastIn, ForecastOut
from drumkeep.asgi.dependencies import require
from drumkeep.domain.forecasts import forecast
from drumkeep.domain.roles import Action

router = APIRouter(prefix="/forecasts", tags=["forecasts"])


# A function, not a coroutine: a month's forecast takes seconds, and others are served meanwhile.
@router.post("", dependencies=[Depends(require(Action.READ))])
def compute_forecast(body: ForecastIn) -> ForecastOut:
    """Compute the course of one drum's liquid under air that is given ahead."""
    return ForecastOut.model_validate(forecast(body.request()))
