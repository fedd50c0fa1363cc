"""Body and answer of a what-if forecast."""

from typing import Annotated, Final, Literal

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    TypeAdapter,
    ValidatorFunctionWrapHandler,
    WrapValidator,
)
from pydantic_core import PydanticCustomError

from drumkeep.asgi.faults import OWN
from drumkeep.domain.forecasts import LEAST_HOURS, MOST_HOURS, AirPoint, ForecastRequest
from drumkeep.domain.products import Side
from drumkeep.errors import Fault, Invalid
from drumkeep.thermal.boundary import Exposure
from drumkeep.thermal.stratified import LAYERS

_STRICT = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)

Celsius = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-60.0, le=150.0)]
Film = Annotated[float, Field(gt=0.0, le=200.0)]

_CELSIUS: Final[TypeAdapter[float]] = TypeAdapter(Celsius)


class AirAtHour(BaseModel):
    """Air at an hour from the start; straight lines between."""

    model_config = _STRICT

    h: Annotated[float, Field(ge=0.0, le=MOST_HOURS)]
    c: Celsius


class ExposureIn(BaseModel):
    """Films in W/(m² K): side outside only, top and bottom air to liquid."""

    model_config = _STRICT

    side_w_m2k: Film
    top_w_m2k: Film
    bottom_w_m2k: Film


class SettingIn(BaseModel):
    """Where the drum stands, instead of films as numbers."""

    model_config = _STRICT

    motion: Literal["still", "fan", "moving"] = "still"
    standing: Literal["pallet", "slab", "truck_floor"] = "pallet"
    share: Annotated[float, Field(gt=0.0, le=1.0)] = 1.0


class PropertiesIn(BaseModel):
    """The liquid's own properties; those left out are the side's defaults."""

    model_config = _STRICT

    density_kg_m3: Annotated[float, Field(ge=800.0, le=1500.0)] | None = None
    specific_heat_j_kgk: Annotated[float, Field(ge=1000.0, le=4500.0)] | None = None
    conductivity_w_mk: Annotated[float, Field(ge=0.05, le=1.0)] | None = None
    expansion_1_k: Annotated[float, Field(ge=1e-4, le=2e-3)] | None = None
    kinematic_viscosity_m2_s: Annotated[float, Field(ge=1e-6, le=0.1)] | None = None


def _air(value: object, points: ValidatorFunctionWrapHandler) -> list[AirAtHour]:
    """Take one temperature for the same air at all hours.

    Not a union: its errors would name the member tried, which nobody wrote.
    """
    if isinstance(value, list):
        given: list[AirAtHour] = points(value)
        return given
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise PydanticCustomError(
            OWN,
            "{problem}. {mend}",
            {
                "problem": "is neither a temperature nor a list of them by the hour",
                "mend": 'Write one number, as in 21.5, or points, as in [{"h": 0, "c": 21.5}].',
            },
        )
    return [AirAtHour(h=0.0, c=_CELSIUS.validate_python(value))]


class ForecastIn(BaseModel):
    """One drum and the air ahead of it."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)

    side: Side
    net_kg: Annotated[float, Field(strict=True, ge=2.0, le=320.0)] | None = None
    start_c: Celsius | None = None
    layers_c: Annotated[list[Celsius], Field(min_length=LAYERS, max_length=LAYERS)] | None = None
    air_c: Annotated[
        list[AirAtHour],
        Field(min_length=1, max_length=10_000),
        WrapValidator(_air, json_schema_input_type=Celsius | list[AirAtHour]),
    ]
    hours: Annotated[float, Field(strict=True, ge=LEAST_HOURS, le=MOST_HOURS)] = 48.0
    step_h: Annotated[float, Field(strict=True, ge=LEAST_HOURS, le=24.0)] = 0.5
    exposure: ExposureIn | None = None
    setting: SettingIn | None = None
    flow: Literal["free", "none", "mixed"] = "free"
    steel_kg: Annotated[float, Field(strict=True, ge=0.0, le=40.0)] | None = None
    properties: PropertiesIn | None = None
    targets_c: Annotated[list[Celsius], Field(max_length=20)] = []

    def request(self) -> ForecastRequest:
        """Say the same in the domain's words.

        Raises
        ------
        Invalid
            When what may only stand alone stands together, or neither does.
        """
        setting = self.setting or SettingIn()
        return ForecastRequest(
            side=self.side,
            net_kg=self.net_kg,
            start_c=self._start(),
            air=tuple(AirPoint(h=point.h, c=point.c) for point in self.air_c),
            hours=self.hours,
            # the usual half hour, unless all that is asked for is shorter
            step_h=self.step_h if "step_h" in self.model_fields_set else min(0.5, self.hours),
            exposure=Exposure(**self.exposure.model_dump()) if self.exposure else None,
            motion=setting.motion,
            standing=setting.standing,
            share=setting.share,
            flow=self.flow,
            steel_kg=self.steel_kg,
            properties=self.properties.model_dump(exclude_none=True) if self.properties else None,
            targets_c=tuple(self.targets_c),
        )

    def _start(self) -> tuple[float, ...]:
        faults = []
        if self.start_c is None and self.layers_c is None:
            mend = f"Give start_c, or layers_c: {LAYERS} temperatures, bottom first."
            faults.append(Fault("start_c", None, "is missing", mend))
        if self.start_c is not None and self.layers_c is not None:
            mend = "Give start_c or layers_c, not both."
            faults.append(Fault("layers_c", self.layers_c, "stands beside start_c", mend))
        if self.exposure is not None and self.setting is not None:
            mend = "Give exposure or setting, not both."
            value = self.setting.model_dump(exclude_unset=True)
            faults.append(Fault("setting", value, "stands beside exposure", mend))
        if faults:
            raise Invalid("The forecast cannot be computed as asked.", faults)
        return tuple(self.layers_c or [self.start_c or 0.0] * LAYERS)


class ReachOut(BaseModel):
    """Hours until a target is reached; null if never within the forecast."""

    model_config = ConfigDict(from_attributes=True)

    target_c: float
    bottom_h: float | None
    mean_h: float | None
    slow_h: float | None
    fast_h: float | None


class ForecastOut(BaseModel):
    """The course of the liquid; ``layers_c[time][layer]``, bottom first."""

    model_config = ConfigDict(from_attributes=True)

    h: list[float]
    bottom_c: list[float]
    mean_c: list[float]
    top_c: list[float]
    layers_c: list[list[float]]
    low_c: list[float]
    high_c: list[float]
    reach: list[ReachOut]
