"""What a claim rests on stays whole: readings for a year once it is settled, photos for ever."""

import pytest

from drumkeep.domain.grid import to_ms
from drumkeep.operations import claims
from drumkeep.operations.photos import Caption, photo_of_claim, photo_of_drum
from drumkeep.operations.pictures import made_anew
from drumkeep.operations.retention import CLAIMS
from drumkeep.scheduler import jobs
from drumkeep.storage import photos
from drumkeep.storage.catalogue import sensor_by_name
from drumkeep.storage.readings import series
from tests.builders.photos import photo
from tests.fixtures.depot import MANAGER, at, depot, empty_depot, short_sight

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = [pytest.mark.usefixtures("short_sight"), pytest.mark.both_stores]

RAW_DAYS = 90
CAME, GONE = 24.0, 48.0
A_YEAR = CLAIMS.days * 24.0
PICTURE = made_anew(photo(size=(64, 48)))


@pytest.fixture
def bulged(depot):
    """Give a depot whose hall was read each minute, and the tag of a drum that came bulged."""
    minutes = {minute / 60.0: 5.0 + minute % 7 for minute in range(61)}
    depot.send({"hall": {-2.0: 5.0} | minutes}, now=1.0)
    tag = depot.receive("hall", CAME, side="resin", liquid_c=20.0)
    depot.record(tag, "inspected", CAME + 0.5, bulge="seen")
    return depot, tag


def claimed(depot, tag) -> int:
    with depot.looking() as tx:
        draft = claims.draft_claim(tx, tags=[tag], by=MANAGER, now=at(CAME + 1.0))
    with depot.writing() as tx:
        return claims.make_claim(
            tx, key=depot.fresh_id(), draft=draft, by=MANAGER, now=at(CAME + 1.0)
        ).id


def disposed(depot, tag) -> None:
    depot.record(tag, "disposed", GONE)


def kept(depot, *, hours: float) -> int:
    """Thin what may be thinned; return how many readings of the first hour are left."""
    job = jobs.thinning(RAW_DAYS)
    for _ in range(4):
        job.run(depot.engine, at(hours))
    with depot.looking() as tx:
        sensor = sensor_by_name(tx, name="hall")
        assert sensor is not None
        found = series(tx, sensor_ids=[sensor.id], from_ms=to_ms(at(0.0)), to_ms=to_ms(at(0.99)))
        return len(found[sensor.id][0])


def test_readings_are_kept_while_a_claim_is_open_and_a_year_after_it_was_settled(bulged):
    depot, tag = bulged
    number = claimed(depot, tag)
    disposed(depot, tag)
    assert kept(depot, hours=GONE + 3.0 * A_YEAR) == 60
    with depot.writing() as tx:
        claims.note_claim(
            tx,
            claim_id=number,
            key=depot.fresh_id(),
            state="settled",
            text="paid",
            by=MANAGER,
            now=at(GONE + 3.0 * A_YEAR),
        )
    assert kept(depot, hours=GONE + 3.5 * A_YEAR) == 60
    assert kept(depot, hours=GONE + 4.1 * A_YEAR) == 4


def test_a_photo_that_a_claim_rests_on_stays_whole_and_others_become_small(bulged):
    depot, tag = bulged
    depot.receive("hall", CAME, side="resin", liquid_c=20.0)
    other = depot.receive("hall", CAME, side="resin", liquid_c=20.0)
    present = depot.receive("hall", CAME, side="resin", liquid_c=20.0)
    keys = {}
    with depot.writing() as tx:
        for drum in (tag, other, present):
            keys[drum] = photo_of_drum(
                tx, tag=drum, picture=PICTURE, caption=Caption(), by=MANAGER, now=at(CAME + 0.6)
            ).id
    number = claimed(depot, tag)
    with depot.writing() as tx:
        keys["claim"] = photo_of_claim(
            tx,
            claim_id=number,
            picture=PICTURE,
            caption=Caption(),
            by=MANAGER,
            now=at(CAME + 2.0),
        ).id
    for drum in (tag, other):
        depot.record(drum, "disposed", GONE)
    late = at(GONE + 5.0 * A_YEAR)
    for _ in range(2):
        jobs.thin_old_photos(depot.engine, late)
    with depot.looking() as tx:
        assert photos.thinned(tx, photo_ids=list(keys.values())) == {keys[other]}
        left = photos.content_of(tx, photo_id=keys[other])
        assert left is not None
        assert left.small == PICTURE.small
