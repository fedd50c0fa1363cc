"""Pages of stock, counts, consumables and rig checks with everything in them."""

from collections.abc import Callable, Mapping
from datetime import date, datetime, timedelta
from typing import Any

from drumkeep.domain.sets import Sets
from drumkeep.operations.losses import Loss, Month
from drumkeep.operations.stock import Money
from drumkeep.web.views.consumables import KINDS, ConsumableView, EntryView
from drumkeep.web.views.counts import CountLine, CountView, DifferenceView, SeenView
from drumkeep.web.views.rig_checks import CheckLine, PartView, RigView
from drumkeep.web.views.stock import (
    Counts,
    MonthView,
    NextView,
    PriceLine,
    StockLot,
    StockPlace,
    StockProduct,
    StockView,
)

_ZONE = "America/Chicago"


def _counts(**changes: Any) -> Counts:
    usual = {
        **dict.fromkeys(
            ("ready", "ready_by", "moved", "mixed", "unknown", "may_leave", "on_hold"), 1
        ),
        "count": 12,
        "net_kg": 3000.0,
        "partial": 2,
        "expiring": 1,
        "expired": 1,
        "cost": 9876.5,
        "unpriced": 3,
    }
    return Counts(**(usual | changes))


def _stock(now: datetime) -> StockView:
    place = StockPlace(
        place="North shed",
        code="pine/north",
        site="Pine Street",
        ends=now + timedelta(days=20),
        timezone=_ZONE,
        counts=_counts(unpriced=12, unknown=0),
    )
    lot = StockLot(code="2231", made_on=date(2026, 12, 1), places=(place, place))
    product = StockProduct(
        code="nw-a",
        name="Northwind A",
        side="iso",
        system="Northwind",
        counts=_counts(),
        lots=(lot,),
    )
    coming = NextView(
        tag="K7Q-X4M",
        side="iso",
        product="Northwind A",
        lot="2231",
        place="North shed",
        net_kg=250.0,
        state="too_cold",
        soonest=now + timedelta(hours=9),
        soonest_in="Warm room 1",
        ends=now + timedelta(days=20),
        timezone=_ZONE,
    )
    return StockView(
        sites=(("pine", "Pine Street"), ("oak", "Oak Street")),
        site="",
        days=30,
        computed_at=now,
        sets_now=Sets(sure=1, at_most=1),
        sets_by=Sets(sure=2, at_most=5),
        sets_usable=Sets(sure=0, at_most=6),
        totals=_counts(),
        sides=(("iso", _counts()), ("resin", _counts())),
        products=(product,),
        by_place=(("North shed", "Pine Street", 12, 0),),
        next=(coming,),
        currency="USD",
        expired_cost=Money(amount=120.0, unpriced=1),
    )


def _count(now: datetime, *, finished: bool) -> CountView:
    seen = SeenView(tag="K7Q-X4M", side="iso", lot="2231", by="Rosa", at=now)
    kinds = ("elsewhere", "not_seen", "gone", "unknown_tag")
    return CountView(
        id=1,
        place="North shed",
        code="pine/north",
        site="Pine Street",
        begun_at=now,
        by="Rosa",
        finished_at=now if finished else None,
        finished_by="Rosa" if finished else None,
        expected=12,
        seen=(seen, SeenView(tag="R8H-3NB", side=None, lot="", by="Rosa", at=now)),
        last=seen,
        differences=tuple(
            DifferenceView(
                kind=kind,
                tag=f"K7Q-X4{n}",
                side=None if kind == "unknown_tag" else "resin",
                lot="77",
                recorded="Long hall",
                mends=(("move_here", "Record that it is here"), ("leave", "Leave it as it is")),
                id=f"id-{n}",
                mended="left as it is" if kind == "gone" else None,
                mended_by="Rosa" if kind == "gone" else None,
                mended_at=now if kind == "gone" else None,
            )
            for n, kind in enumerate(kinds)
        ),
    )


def _losses(now: datetime) -> Month:
    def loss(*, still_here: bool, cost: float | None) -> Loss:
        return Loss(
            tag="K7Q-X4M",
            side="iso",
            product="Northwind A",
            lot="2231",
            at=now,
            reason="solids",
            net_kg=250.0,
            cost=cost,
            still_here=still_here,
        )

    return Month(
        month="2027-02",
        spoiled=Money(amount=900.0, unpriced=0),
        expired=Money(amount=0.0, unpriced=1),
        losses=(loss(still_here=False, cost=900.0), loss(still_here=True, cost=None)),
    )


def _rig(now: datetime) -> tuple[RigView, CheckLine]:
    line = CheckLine(
        rig="Truck 2",
        part="Desiccant",
        words="see the note",
        note="pink at the top",
        at=now,
        by="Rosa",
        timezone=_ZONE,
    )
    states = ("done", "due", "overdue", "never")
    return (
        RigView(
            id=3,
            name="Truck 2",
            site="Pine Street",
            code="pine/truck",
            timezone=_ZONE,
            form_id="id-1",
            parts=tuple(
                PartView(
                    name=f"part-{state}",
                    title="Desiccant",
                    hint="Its colour.",
                    state=state,
                    due=None if state == "never" else now,
                    last=None if state == "never" else line,
                )
                for state in states
            ),
        ),
        line,
    )


def stock_pages(change: Callable[[Any], Any], *, now: datetime) -> Mapping[str, dict[str, Any]]:
    """Return the contexts of these pages by template."""
    rig, line = _rig(now)
    entry = EntryView(words="took 1 bottle", at=now, by="Rosa", note="for the rig")
    item = ConsumableView(
        id=4,
        entry_id="id-2",
        name="Bottle",
        kind="nitrogen",
        kind_words="nitrogen",
        place="Truck 2",
        site="Pine Street",
        unit="bottles",
        hand="1 bottle",
        minimum="2 bottles",
        least="2",
        low=True,
        timezone=_ZONE,
        last=(entry,),
    )
    price = PriceLine(
        product="nw-a",
        name="Northwind A",
        side="iso",
        lot=None,
        amount=1.85,
        per="lb",
        own=True,
        since=now,
        by="Mara",
    )
    places = (("pine/north", change("North shed")),)
    return {
        "stock.html": {"stock": change(_stock(now)), "page": "stock"},
        "losses.html": {
            "months": (change(MonthView(words="February 2027", month=_losses(now))),),
            "sites": (("pine", change("Pine Street")), ("oak", change("Oak Street"))),
            "site": "pine",
            "currency": change("USD"),
        },
        "prices.html": {"lines": (change(price),), "currency": change("USD"), "may_change": True},
        "counts.html": {
            "counts": (
                change(
                    CountLine(
                        id=1,
                        place="North shed",
                        begun_at=now,
                        by="Rosa",
                        finished_at=now,
                        seen=12,
                        differences=4,
                        waiting=3,
                        timezone=_ZONE,
                    )
                ),
            ),
            "places": places,
            "chosen": "pine/north",
            "id": "id-3",
            "may_count": True,
        },
        "count.html": {"count": change(_count(now, finished=True)), "may_count": True},
        "consumables.html": {
            "items": (change(item),),
            "kinds": tuple(KINDS.items()),
            "places": places,
            "may_record": True,
            "may_change": True,
        },
        "rig_checks.html": {
            "rigs": (change(rig),),
            "checks": (change(line),),
            "days": 7,
            "may_record": True,
        },
    }
