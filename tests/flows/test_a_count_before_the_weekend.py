"""The crew counts the hall, puts right what differs, and the owner reads what is there and lost."""

from datetime import timedelta

import pytest

from drumkeep.domain.counts import Mend
from drumkeep.domain.roles import Role
from drumkeep.errors import Refused
from drumkeep.operations import counts, prices
from drumkeep.operations.drums import By
from drumkeep.operations.losses import losses
from drumkeep.operations.stock import stock_now
from tests.fixtures.depot import MANAGER, at, depot, empty_depot, steady

__all__ = ["depot", "empty_depot"]

CREW = By(name="Rosa", role=Role.CREW)


def in_stock(depot, hours):
    with depot.looking() as tx:
        return stock_now(tx, days=30, now=at(hours))


def there(depot, hours, place):
    lines = in_stock(depot, hours).lines
    return sum(line.counted.count for line in lines if line.place.id == depot.places[place])


def test_the_count_finds_two_slips_and_the_month_tells_what_they_cost(depot):
    depot.send(
        {place: steady(22.0, first_h=-48.0, last_h=8.0) for place in ("dock", "hall", "van")},
        now=8.0,
    )
    known = [depot.receive("hall", 0.0) for _ in range(2)]
    lost = depot.receive("hall", 0.0)
    brought_in = depot.receive("van", 0.0)  # and nobody recorded it
    depot.advance(1.0)
    assert (there(depot, 1.0, "hall"), there(depot, 1.0, "van")) == (3, 1)

    # Rosa scans what stands in the hall; the records are untouched by it.
    with depot.writing() as tx:
        count = counts.begin_count(
            tx, place="north/hall", client_id=depot.fresh_id(), by=CREW, now=at(2.0)
        )
        for tag in (*known, brought_in):
            counts.see_drum(tx, count_id=count.id, tag=tag, by=CREW, now=at(2.0))
        counts.finish_count(tx, count_id=count.id, by=CREW, now=at(2.1))
        found = counts.count_now(tx, count_id=count.id)
    assert {(one.tag, one.kind) for one in found.differences} == {
        (brought_in, "elsewhere"),
        (lost, "not_seen"),
    }
    assert (there(depot, 2.1, "hall"), there(depot, 2.1, "van")) == (3, 1)

    # One tap each: the one is here, the other is missing and on hold.
    for tag, mend in ((brought_in, Mend.MOVE_HERE), (lost, Mend.HOLD_MISSING)):
        with depot.writing() as tx:
            counts.mend_difference(
                tx,
                count_id=count.id,
                tag=tag,
                mend=mend,
                event_id=depot.fresh_id(),
                by=CREW,
                now=at(2.2),
            )
    assert (there(depot, 2.2, "hall"), there(depot, 2.2, "van")) == (4, 0)
    stock = in_stock(depot, 2.2)
    assert (stock.total("count"), stock.total("on_hold")) == (4, 1)
    assert stock.cost.unpriced == 4

    # The owner has said what iso costs; the crew may not. The missing drum is written off.
    with depot.writing() as tx:
        prices.set_price(tx, product="iso", amount=4.0, per="kg", by=MANAGER, now=at(3.0))
    with pytest.raises(Refused):
        depot.record(lost, "disposed", 3.0, by=CREW)
    depot.record(lost, "disposed", 3.0)
    stock = in_stock(depot, 4.0)
    assert (stock.cost.amount, stock.cost.unpriced) == (pytest.approx(3 * 250.0 * 4.0), 0)
    with depot.looking() as tx:
        (month,) = losses(tx, now=at(4.0))
    (loss,) = month.losses
    assert (loss.tag, loss.reason) == (lost, "not found in count")
    assert loss.cost == pytest.approx(250.0 * 4.0)
    assert loss.at - at(3.0) < timedelta(minutes=1)
