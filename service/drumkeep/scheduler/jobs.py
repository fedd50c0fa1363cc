"""The table of jobs: what runs by itself, and how often.

Each job is a plain function of an engine and a time, idempotent, and may be run late or twice.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from drumkeep.domain.grid import STEPS_PER_HOUR, step_at, to_ms
from drumkeep.notify.alarm_topics import AlarmTopics
from drumkeep.operations.air_habits import lessons_of, store_lessons
from drumkeep.operations.alarm_notices import alarms_to_publish, note_published
from drumkeep.operations.kept_outlooks import KeptOutlooks
from drumkeep.operations.place_films import lessons, put_learned, study
from drumkeep.operations.retention import bounds, thin_photos, thin_some
from drumkeep.operations.strays import age_strays, strays_over
from drumkeep.scheduler.rounds import advance, evaluate
from drumkeep.storage import estimates, partitions, rollups
from drumkeep.storage.engine import Engine
from drumkeep.storage.ground import places
from drumkeep.storage.readings import hour_of
from drumkeep.storage.transaction import reading, transaction

KEPT_WHOLE: Final = timedelta(days=14)
THINNED_STEPS: Final = 6 * STEPS_PER_HOUR
"""Half-hourly checkpoints are kept for two weeks, then one in six hours."""

PLACES_AT_ONCE: Final = 500


@dataclass(frozen=True)
class Job:
    """Something that runs every so many seconds."""

    name: str
    run: Callable[[Engine, datetime], None]
    every_s: float


def advancing() -> Job:
    """Return the job that computes drums; it keeps their outlooks from one round to the next."""
    kept = KeptOutlooks()

    def advance_drums(engine: Engine, now: datetime) -> None:
        advance(engine, now, look=kept.look_ahead)

    return Job("advance", advance_drums, every_s=2.0)


def announcing(topics: AlarmTopics) -> Job:
    """Return the job that publishes what has changed of alarms at the broker."""

    def announce(engine: Engine, _now: datetime) -> None:
        with reading(engine) as tx:
            notices = alarms_to_publish(tx)
        confirmed = topics.publish([notice for notice, _ in notices])
        if confirmed:
            told = {notice.alarm_id: changed_at for notice, changed_at in notices}
            with transaction(engine) as tx:
                note_published(tx, changed_at={alarm: told[alarm] for alarm in confirmed})

    return Job("announce", announce, every_s=2.0)


def thin(engine: Engine, now: datetime) -> None:
    """Drop old checkpoints but one in six hours."""
    with transaction(engine) as tx:
        estimates.thin(tx, before=step_at(now - KEPT_WHOLE), keep_every=THINNED_STEPS)


def thin_old_photos(engine: Engine, now: datetime) -> None:
    """Keep only the small one of old photos on which nothing rests."""
    with transaction(engine) as tx:
        thin_photos(tx, now=now)


def roll_up(engine: Engine, now: datetime) -> None:
    """Make the hourly figures of hours that are over and got something new."""
    with transaction(engine) as tx:
        rollups.make(tx, hours=rollups.waiting(tx, before=hour_of(to_ms(now))))


def age(engine: Engine, now: datetime) -> None:
    """Let go of unregistered sensors that nobody hears any more."""
    with reading(engine) as tx:
        over = strays_over(tx)
    with transaction(engine) as tx:
        age_strays(tx, over=over, now=now)


def make_room(engine: Engine, now: datetime) -> None:
    """Have the tables stand ready into which the readings of the next months go."""
    with transaction(engine) as tx:
        partitions.ensure_ahead(tx, now=now)


def thinning(raw_days: int) -> Job:
    """Return the job that thins readings older than so many days, some hours of them at a time."""
    begin: int | None = None

    def thin_readings(engine: Engine, now: datetime) -> None:
        nonlocal begin
        with reading(engine) as tx:
            allowed = bounds(tx, raw_days=raw_days, now=now)
        with transaction(engine) as tx:
            begin = thin_some(tx, allowed=allowed, begin=begin)

    return Job("thin readings", thin_readings, every_s=300.0)


def learn_air(engine: Engine, now: datetime) -> None:
    """Learn from the hours on record how the air of each place goes."""
    with reading(engine) as tx:
        place_ids = [place.id for place in places(tx)]
    # In parts: PostgreSQL ends a transaction that has nothing to say for two minutes.
    for start in range(0, len(place_ids), PLACES_AT_ONCE):
        some = place_ids[start : start + PLACES_AT_ONCE]
        with reading(engine) as tx:
            lessons = lessons_of(tx, now=now, place_ids=some)
        with transaction(engine) as tx:
            store_lessons(tx, lessons=lessons, now=now)


def learn_films(engine: Engine, now: datetime) -> None:
    """Learn from the dips on record how strong the film of each place is."""
    with reading(engine) as tx:
        dips = lessons(tx, now=now)
    found = study(dips)
    with transaction(engine) as tx:
        put_learned(tx, found=found, now=now)


JOBS: Final = (
    Job("alarms", evaluate, every_s=60.0),
    Job("hours", roll_up, every_s=120.0),
    Job("room", make_room, every_s=6 * 3600.0),
    Job("air", learn_air, every_s=3600.0),
    Job("films", learn_films, every_s=6 * 3600.0),
    Job("strays", age, every_s=3600.0),
    Job("thin", thin, every_s=6 * 3600.0),
    Job("photos", thin_old_photos, every_s=24 * 3600.0),
)
