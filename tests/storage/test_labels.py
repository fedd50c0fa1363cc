"""Printed labels, trade items and deliveries on each kind of database."""

from datetime import date
from typing import Any
from uuid import UUID

import pytest

from drumkeep.domain.labels import DrumLabel
from drumkeep.domain.roles import Role
from drumkeep.operations.deliveries import Delivery, delivered, receive_delivery
from drumkeep.operations.drums import By
from drumkeep.operations.labels import LabelOrder, label_run, log_prints
from drumkeep.operations.supplier_labels import look_up_label, remember_item
from drumkeep.storage import labels as printed
from drumkeep.storage import trade_items
from tests.fixtures.depot import MANAGER, Depot, at, depot, empty_depot, short_sight

__all__ = ["depot", "empty_depot", "short_sight"]
pytestmark = [pytest.mark.usefixtures("short_sight"), pytest.mark.both_stores]

ROSA = By(name="Rosa", role=Role.CREW)
GTIN = "09506000134352"


def delivery(depot: Depot, **told: Any) -> Delivery:
    return Delivery(id=UUID(int=7), product="iso", place=depot.places["hall"], at=at(0.0), **told)


def test_copies_count_on_for_each_drum_and_place(depot):
    first, second = depot.receive(), depot.receive(side="resin")
    for drums in ([first], [first, second]):
        order = LabelOrder(size="4x6in", drums=drums, places=["north/hall"])
        with depot.writing() as tx:
            run = label_run(tx, order=order, public_url="https://drums.example", by=ROSA)
            log_prints(tx, run=run, by=ROSA, now=at(1.0))
    with depot.looking() as tx:
        found = [(row.drum_id, row.place_id, row.copy_number) for row in printed.list_prints(tx)]
        of_drums = printed.copies_of_drums(tx, ids=[d for d, _, _ in found if d is not None])
    one, place, again, other, place_again = found
    assert [copy for _, _, copy in found] == [1, 1, 2, 1, 2]
    assert one[0] == again[0] != other[0]
    assert place[1] == place_again[1] == depot.places["hall"]
    assert of_drums == {one[0]: 2, other[0]: 1}


def test_label_of_a_drum_that_took_another_lot_or_is_older_than_it_says_so(depot):
    plain, old = depot.receive(), depot.receive(made_on=date(2026, 1, 10))
    mixed = depot.receive(net_kg=150.0)
    with depot.writing() as tx:
        other = delivery(depot, lot="L-8", made_on=date(2025, 12, 1), liquid_c=20.0)
        (donor,) = receive_delivery(tx, delivery=other, by=ROSA, now=at(0.0))
        tag = donor.tag
    depot.record(tag, "decanted", 1.0, kg=20.0, to=mixed)
    with depot.looking() as tx:
        order = LabelOrder(size="4x6in", drums=[plain, old, mixed])
        run = label_run(tx, order=order, public_url="https://drums.example", by=ROSA)
    said = [label for label in run.labels if isinstance(label, DrumLabel)]
    assert [label.lot for label in said] == ["2231", "2231", "2231 and others"]
    made = [label.made for label in said]
    assert made == [date(2026, 1, 20), date(2026, 1, 10), date(2025, 12, 1)]


def test_delivery_is_found_again_with_its_number_and_its_new_lot(depot):
    three = delivery(depot, lot="B-78", made_on=date(2026, 2, 2), count=3, gtin=GTIN)
    with depot.writing() as tx:
        tags = [drum.tag for drum in receive_delivery(tx, delivery=three, by=ROSA, now=at(0.0))]
    with depot.looking() as tx:
        found = delivered(tx, delivery_id=three.id)
        assert [drum.tag for drum, _ in found] == tags
        (item,) = trade_items.list_items(tx)
        scanned = look_up_label(tx, text=f"(01){GTIN}(10)B-78", now=at(1.0))
    assert (item[0].gtin, item[0].by, item[1].code) == (GTIN, "Rosa", "iso")
    assert scanned.product is not None
    assert scanned.lot is not None
    assert scanned.doubts == ()


def test_number_is_changed_by_a_manager(depot):
    for code in ("iso", "resin"):
        with depot.writing() as tx:
            remember_item(tx, gtin=GTIN, product=code, by=MANAGER, now=at(0.0))
    with depot.looking() as tx:
        product = trade_items.product_of(tx, gtin=GTIN)
    assert product is not None
    assert product.code == "resin"
