"""What is known of places' air to come: what their past taught, and the newest forecast."""

from collections.abc import Iterable, Mapping

from drumkeep.domain.air_ahead import AirClues
from drumkeep.domain.air_habits import AirHabit
from drumkeep.storage import air
from drumkeep.storage.tables.air import AirLesson
from drumkeep.storage.tables.catalogue import Place
from drumkeep.storage.transaction import Tx


def read_clues(
    tx: Tx, *, places: Mapping[int, Place], place_ids: Iterable[int]
) -> dict[int, AirClues]:
    """Return what is known of each place's air to come.

    Parameters
    ----------
    tx
        Any transaction.
    places
        The catalogue of places.
    place_ids
        Which of them.
    """
    wanted = [places[place_id] for place_id in place_ids]
    lessons = air.lessons(tx, place_ids=[place.id for place in wanted])
    newest = {
        site_id: air.newest_forecast(tx, site_id=site_id) for site_id in {p.site_id for p in wanted}
    }
    forecasts = {s: None if row is None else air.as_forecast(row) for s, row in newest.items()}
    return {
        place.id: AirClues(
            habit=_habit(lessons.get(place.id), place), forecast=forecasts[place.site_id]
        )
        for place in wanted
    }


def _habit(lesson: AirLesson | None, place: Place) -> AirHabit:
    """Return what a place's past taught; nothing where it was under another set point."""
    if lesson is None or lesson.set_point_c != place.set_point_c:
        return AirHabit()
    return AirHabit.from_json(lesson.habit)
