"""Body and answer of a what-if forecast."""

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from drumkeep.domain.forecasts import MOST_HOURS, AirPoint, ForecastRequest
from drumkeep.domain.products import Side
from drumkeep.thermal.boundary import Exposure

_STRICT = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)

Celsius = Annotated[float, Field(ge=-60.0, le=150.0)]
Film = Annotated[float, Field(gt=0.0, le=200.0)]


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


class ForecastIn(BaseModel):
    """One drum and the air ahead of it."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)

    side: Side
    net_kg: Annotated[float, Field(strict=True, ge=2.0, le=320.0)] | None = None
    start_c: Annotated[Celsius, Field(strict=True)] | None = None
    layers_c: (
        Annotated[
            list[Annotated[float, Field(strict=True, ge=-60.0, le=150.0)]],
            Field(min_length=8, max_length=8),
        ]
        | None
    ) = None
    air_c: (
        Annotated[float, Field(strict=True, ge=-60.0, le=150.0)]
        | Annotated[list[AirAtHour], Field(min_length=1, max_length=10_000)]
    )
    hours: Annotated[float, Field(strict=True, gt=0.0, le=MOST_HOURS)] = 48.0
    step_h: Annotated[float, Field(strict=True, ge=1.0 / 12.0, le=24.0)] = 0.5
    exposure: ExposureIn | None = None
    setting: SettingIn | None = None
    flow: Literal["free", "none", "mixed"] = "free"
    steel_kg: Annotated[float, Field(strict=True, ge=0.0, le=40.0)] | None = None
    properties: PropertiesIn | None = None
    targets_c: Annotated[
        list[Annotated[float, Field(strict=True, ge=-60.0, le=150.0)]], Field(max_length=20)
    ] = []

    @model_validator(mode="after")
    def _one_of_each(self) -> Self:
        if (self.start_c is None) == (self.layers_c is None):
            raise ValueError("give exactly one of start_c and layers_c")
        if self.exposure is not None and self.setting is not None:
            raise ValueError("give exposure or setting, not both")
        return self

    def request(self) -> ForecastRequest:
        """Say the same in the domain's words."""
        layers = self.layers_c or [self.start_c or 0.0] * 8
        air = self.air_c if isinstance(self.air_c, list) else [AirAtHour(h=0.0, c=self.air_c)]
        setting = self.setting or SettingIn()
        given = self.properties.model_dump(exclude_none=True) if self.properties else None
        return ForecastRequest(
            side=self.side,
            net_kg=self.net_kg,
            start_c=tuple(layers),
            air=tuple(AirPoint(h=point.h, c=point.c) for point in air),
            hours=self.hours,
            step_h=self.step_h,
            exposure=Exposure(**self.exposure.model_dump()) if self.exposure else None,
            motion=setting.motion,
            standing=setting.standing,
            share=setting.share,
            flow=self.flow,
            steel_kg=self.steel_kg,
            properties=given,
            targets_c=tuple(self.targets_c),
        )


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
