"""Why a drum is said to be what it is said to be, as answered: °C, K, SI."""

from drumkeep.api.schemas.events import MetOut
from drumkeep.asgi.fields import Answer, MomentOut


class DoubtOut(Answer):
    """What a sensor is or was doubted for lately."""

    reason: str
    since: MomentOut
    until: MomentOut | None
    said: str


class SensorWhyOut(Answer):
    """A sensor that has to do with a drum; ``place`` is null for one on the drum itself.

    Values are °C, of humidity per cent.
    """

    sensor: str
    what: str
    place: str | None
    hung_since: MomentOut
    last: float | None
    last_at: MomentOut | None
    error_k: float
    silent: bool
    doubted: bool
    doubts: list[DoubtOut]


class HeaterOnOut(Answer):
    """A heater or blanket that is on it now."""

    device: str
    watts: float
    until: MomentOut
    thermostat_c: float | None


class PlaceWhyOut(Answer):
    """Where it stands, whose sensors tell its air, and the film that its side has.

    ``side_share`` is the share of its side that sees the air, 0-1.
    """

    place: str
    air_told_at: str | None
    air_c: float | None
    air_known: bool
    motion: str
    wind_m_s: float | None
    standing: str
    crowding: str
    sun: bool
    side_share: float
    named_side_film_w_m2k: float
    film_factor: float
    film_low: float
    film_high: float
    film_source: str
    film_dips: int
    film_since: MomentOut | None


class StartOut(Answer):
    """What told its start: ``measured``, ``first_measurement``, ``air`` it came from, ``nothing``.

    ``doubt_k`` is what the start, or a gap since, still leaves open.
    """

    told_by: str
    received_at: MomentOut
    measured_c: float | None
    measured_at: MomentOut | None
    origin: str | None
    air_low_c: float | None
    air_mean_c: float | None
    air_high_c: float | None
    doubt_k: float
    counts_as_known: bool


class MeasuredOut(MetOut):
    """A measurement, newest first: of the liquid at a height, or of the skin."""

    at: MomentOut
    what: str
    sensor: str | None
    height_m: float | None


class LimitUsedOut(Answer):
    """A limit that the verdict rests on; ``unit`` is c, min, days or share."""

    name: str
    value: float
    unit: str
    origin: str


class PropertyUsedOut(Answer):
    """A property, SI, at the liquid's bottom, mean and top."""

    name: str
    values: list[float]
    origin: str


class PartOut(Answer):
    """What a cause adds to the half-width, K; the parts add up to it."""

    cause: str
    half_width_k: float
    said: str


class BandWhyOut(Answer):
    """The band and what it is made of."""

    low_c: float
    high_c: float
    half_width_k: float
    parts: list[PartOut]


class OptionOut(Answer):
    """A measurement, and the band to expect after it; null where nothing is known yet."""

    way: str
    height_m: float | None
    low_c: float | None
    high_c: float | None
    half_width_k: float
    half_width_after_a_day_k: float | None
    said: str


class AirToComeOut(Answer):
    """What the air to come rests on; how far off nine in ten were, K, by hours ahead."""

    basis: str
    said: str
    off_k: dict[int, float]
    issued_at: MomentOut | None


class WhyOut(Answer):
    """What an answer about a drum rests on; what is of the present is null once it is gone.

    ``narrows_most`` first says which measurement would narrow the band most; ``options`` are all of
    them, the best first.
    """

    tag: str
    computed_at: MomentOut | None
    supported_to: MomentOut | None
    place: PlaceWhyOut | None
    heater: HeaterOnOut | None
    sensors: list[SensorWhyOut]
    start: StartOut
    net_kg: float
    net_kg_from: str
    net_kg_since: MomentOut
    measurements: list[MeasuredOut]
    output: str
    limits: list[LimitUsedOut]
    properties_at_c: list[float]
    properties: list[PropertyUsedOut]
    band: BandWhyOut | None
    narrows_most: str | None
    options: list[OptionOut]
    air_to_come: AirToComeOut | None
