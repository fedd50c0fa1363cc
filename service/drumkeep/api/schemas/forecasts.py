"""Body and answer of a what-if forecast."""

from collections.abc import Callable
from typing import Annotated, Literal, TypeVar

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
from drumkeep.domain.forecasts import (
    LEAST_HOURS,
    MOST_HOURS,
    AirPoint,
    ForecastRequest,
    SunPoint,
)
from drumkeep.domain.products import Side
from drumkeep.domain.sun import DEFAULT_ABSORPTANCE, LEAST_ABSORPTANCE, MOST_IRRADIANCE_W_M2
from drumkeep.errors import Fault, Invalid
from drumkeep.thermal.boundary import (
    LEAST_WIND_M_S,
    MOST_BLANKET_R_M2K_W,
    MOST_WIND_M_S,
    SHARES,
    Exposure,
    Setting,
)
from drumkeep.thermal.constants import PAINT_EMISSIVITY
from drumkeep.thermal.stratified import EIGHTHS

_STRICT = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)

Celsius = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-60.0, le=150.0)]
Film = Annotated[float, Field(gt=0.0, le=200.0)]
Irradiance = Annotated[
    float, Field(strict=True, allow_inf_nan=False, ge=0.0, le=MOST_IRRADIANCE_W_M2)
]

_Point = TypeVar("_Point", bound=BaseModel)


class AirAtHour(BaseModel):
    """Air at an hour from the start; straight lines between."""

    model_config = _STRICT

    h: Annotated[float, Field(ge=0.0, le=MOST_HOURS)]
    c: Celsius


class SunAtHour(BaseModel):
    """Global irradiance of the level at an hour from the start; straight lines between."""

    model_config = _STRICT

    h: Annotated[float, Field(ge=0.0, le=MOST_HOURS)]
    w_m2: Irradiance


class ExposureIn(BaseModel):
    """Films in W/(m² K): side outside only, top and bottom air to liquid."""

    model_config = _STRICT

    side_w_m2k: Film
    top_w_m2k: Film
    bottom_w_m2k: Film


class PropertiesIn(BaseModel):
    """The liquid's own properties; those left out are the side's defaults."""

    model_config = _STRICT

    density_kg_m3: Annotated[float, Field(ge=800.0, le=1500.0)] | None = None
    specific_heat_j_kgk: Annotated[float, Field(ge=1000.0, le=4500.0)] | None = None
    conductivity_w_mk: Annotated[float, Field(ge=0.05, le=1.0)] | None = None
    expansion_1_k: Annotated[float, Field(ge=1e-4, le=2e-3)] | None = None
    kinematic_viscosity_m2_s: Annotated[float, Field(ge=1e-6, le=0.1)] | None = None


def _series(
    point: type[_Point], *, value: str, one: TypeAdapter[float], what: str, example: str
) -> Callable[[object, ValidatorFunctionWrapHandler], list[_Point]]:
    """Take one number for the same at all hours, beside a list of points.

    Not a union: its errors would name the member tried, which nobody wrote.
    """

    def read(given: object, points: ValidatorFunctionWrapHandler) -> list[_Point]:
        if isinstance(given, list):
            found: list[_Point] = points(given)
            return found
        if isinstance(given, bool) or not isinstance(given, int | float):
            raise PydanticCustomError(
                OWN,
                "{problem}. {mend}",
                {
                    "problem": f"is neither {what} nor a list of them by the hour",
                    "mend": f'Write one number, as in {example}, or points, as in [{{"h": 0, '
                    f'"{value}": {example}}}].',
                },
            )
        return [point.model_validate({"h": 0.0, value: one.validate_python(given)})]

    return read


class SettingIn(BaseModel):
    """Where the drum stands, instead of films as numbers.

    ``crowding`` stands for a share of the side that sees the air, which may be given instead;
    ``sun_w_m2`` is the global irradiance of the level.
    """

    model_config = _STRICT

    motion: Literal["still", "fan", "moving", "windy"] | None = None
    wind_m_s: Annotated[float, Field(ge=LEAST_WIND_M_S, le=MOST_WIND_M_S)] | None = None
    standing: Literal["pallet", "slab", "truck_floor"] = "pallet"
    floor_c: Celsius | None = None
    crowding: Literal["alone", "four", "block"] | None = None
    share: Annotated[float, Field(gt=0.0, le=1.0)] | None = None
    blanket_r_m2k_w: Annotated[float, Field(ge=0.0, le=MOST_BLANKET_R_M2K_W)] = 0.0
    emissivity: Annotated[float, Field(ge=0.05, le=1.0)] = PAINT_EMISSIVITY
    sun_w_m2: (
        Annotated[
            list[SunAtHour],
            Field(min_length=1, max_length=10_000),
            WrapValidator(
                _series(
                    SunAtHour,
                    value="w_m2",
                    one=TypeAdapter(Irradiance),
                    what="an irradiance",
                    example="600",
                ),
                json_schema_input_type=Irradiance | list[SunAtHour],
            ),
        ]
        | None
    ) = None
    absorptance: Annotated[float, Field(ge=LEAST_ABSORPTANCE, le=1.0)] = DEFAULT_ABSORPTANCE

    def faults(self) -> list[Fault]:
        """Say what does not stand together."""
        found = []
        if self.motion == "still" and self.wind_m_s is not None:
            mend = "Leave wind_m_s out, or make the motion windy."
            found.append(Fault("setting.wind_m_s", self.wind_m_s, "stands beside still air", mend))
        if self.crowding is not None and self.share is not None:
            mend = "Give crowding or share, not both."
            found.append(Fault("setting.share", self.share, "stands beside crowding", mend))
        return found

    def setting(self) -> Setting:
        """Say the same in the words of physics; a wind alone makes the air windy."""
        windy = "still" if self.wind_m_s is None else "windy"
        return Setting(
            motion=self.motion or windy,
            standing=self.standing,
            share=SHARES[self.crowding or "alone"] if self.share is None else self.share,
            wind_m_s=self.wind_m_s,
            blanket_r_m2k_w=self.blanket_r_m2k_w,
            emissivity=self.emissivity,
        )


class ForecastIn(BaseModel):
    """One drum and the air ahead of it."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)

    side: Side
    net_kg: Annotated[float, Field(strict=True, ge=2.0, le=320.0)] | None = None
    start_c: Celsius | None = None
    layers_c: Annotated[list[Celsius], Field(min_length=EIGHTHS, max_length=EIGHTHS)] | None = None
    air_c: Annotated[
        list[AirAtHour],
        Field(min_length=1, max_length=10_000),
        WrapValidator(
            _series(
                AirAtHour,
                value="c",
                one=TypeAdapter(Celsius),
                what="a temperature",
                example="21.5",
            ),
            json_schema_input_type=Celsius | list[AirAtHour],
        ),
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
            setting=setting.setting(),
            floor_c=setting.floor_c,
            sun=tuple(SunPoint(h=p.h, w_m2=p.w_m2) for p in setting.sun_w_m2 or ()),
            absorptance=setting.absorptance,
            flow=self.flow,
            steel_kg=self.steel_kg,
            properties=self.properties.model_dump(exclude_none=True) if self.properties else None,
            targets_c=tuple(self.targets_c),
        )

    def _start(self) -> tuple[float, ...]:
        faults = []
        if self.start_c is None and self.layers_c is None:
            mend = f"Give start_c, or layers_c: {EIGHTHS} temperatures, bottom first."
            faults.append(Fault("start_c", None, "is missing", mend))
        if self.start_c is not None and self.layers_c is not None:
            mend = "Give start_c or layers_c, not both."
            faults.append(Fault("layers_c", self.layers_c, "stands beside start_c", mend))
        if self.exposure is not None and self.setting is not None:
            mend = "Give exposure or setting, not both."
            value = self.setting.model_dump(exclude_unset=True)
            faults.append(Fault("setting", value, "stands beside exposure", mend))
        if self.setting is not None:
            faults += self.setting.faults()
        if faults:
            raise Invalid("The forecast cannot be computed as asked.", faults)
        return tuple(self.layers_c or [self.start_c or 0.0] * EIGHTHS)


class ReachOut(BaseModel):
    """Hours until a target is reached; null if never within the forecast."""

    model_config = ConfigDict(from_attributes=True)

    target_c: float
    bottom_h: float | None
    mean_h: float | None
    slow_h: float | None
    fast_h: float | None


class ForecastOut(BaseModel):
    """The course of the liquid; ``layers_c[time][layer]``, bottom first.

    ``warnings`` say which correlation or property was used beyond its range.
    """

    model_config = ConfigDict(from_attributes=True)

    h: list[float]
    bottom_c: list[float]
    mean_c: list[float]
    top_c: list[float]
    layers_c: list[list[float]]
    low_c: list[float]
    high_c: list[float]
    reach: list[ReachOut]
    warnings: list[str]
