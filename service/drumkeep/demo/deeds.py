"""What can be told of the demo's drums: batches of them, and deeds that were done with them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from drumkeep.demo.timetable import When, ago, in_hours


@dataclass(frozen=True)
class Deed:
    """Something that was done with a drum: the kind of event, when, by whom, and its fields.

    Attributes
    ----------
    times
        Fields that hang on the first start.
    other
        Of a pour: the batch whose first drum is the other one.
    off_k
        Of a dip: what the probe showed beside what was so, K.
    """

    kind: str
    at: When
    by: str = "crew"
    fields: Mapping[str, Any] = field(default_factory=dict)
    times: Mapping[str, When] = field(default_factory=dict)
    note: str | None = None
    other: str | None = None
    off_k: float = 0.0


@dataclass(frozen=True)
class Batch:
    """Drums that were received and treated alike.

    Attributes
    ----------
    key
        Names them within the demo; the UUIDs of their events are made from it.
    origin
        Where they came from.
    liquid_c
        What a dip said on receipt; None if nobody dipped.
    net_kg
        What was in them; what the product's drums hold if None.
    un_mark
        What is embossed in their steel, where somebody read it.
    """

    key: str
    count: int
    product: str
    lot: str
    place: str
    at: When
    liquid_c: float | None
    deeds: tuple[Deed, ...] = ()
    net_kg: float | None = None
    origin: str | None = None
    un_mark: str | None = None


def moved(to: str, at: When) -> Deed:
    """Give the move of a drum."""
    return Deed("moved", at, by="dispatcher", fields={"to": to})


def wanted(at: When) -> Deed:
    """Give the wish to have a drum ready."""
    return Deed("wanted", at, by="dispatcher")


def used(hours: float, **kg: float) -> tuple[Deed, ...]:
    """Give what a use so many hours ago leaves on record: opened, drawn from, weighed, resealed."""
    return (
        Deed("opened", ago(hours)),
        Deed("weighed", ago(hours - 0.6), fields={**kg, "resolution_kg": 0.2}),
        Deed("resealed", ago(hours - 0.7)),
    )


def dipped(hours: float, *, off_k: float = 0.0, note: str | None = None) -> Deed:
    """Give a dip at mid-depth; what the probe says is nobody's to write down (``probe``)."""
    return Deed("dipped", ago(hours), fields={"sigma_k": 0.5}, off_k=off_k, note=note)


def heated(hours: float, **fields: Any) -> Deed:  # noqa: ANN401 - as sent
    """Give a heater put on so many hours ago, for another day."""
    return Deed("heated", ago(hours), fields=fields, times={"until": in_hours(24)})
