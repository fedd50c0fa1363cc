"""A delivery as sent, by API or by form: drums that are alike, received in one go."""

from typing import Annotated, Literal

from pydantic import Field

from drumkeep.asgi.event_shapes import Celsius, ClientId, Kilograms
from drumkeep.asgi.fields import Body, Day, Line, Moment, Note
from drumkeep.domain.supplier_labels import LONGEST
from drumkeep.operations.deliveries import MOST_ALIKE, Delivery, Looks
from drumkeep.operations.places import place_named
from drumkeep.storage.transaction import Tx


class LooksIn(Body):
    """What was seen of them; what is left out was not looked for."""

    bulge: Literal["none", "seen"] | None = None
    solids: Literal["none", "seen"] | None = None
    ring: Literal["red", "double", "none"] | None = None
    damage: Annotated[str, Field(max_length=200)] = ""


class DeliveryIn(Body):
    """Drums that came; ``id`` is the client's UUID of the whole delivery.

    A lot that is new needs ``made_on``. ``gtin`` is remembered as this product's number. ``label``
    is what was scanned or typed of the supplier's label: it is kept with what it says.
    """

    id: ClientId
    product: Line
    lot: Line
    place: Line
    at: Moment
    count: Annotated[int, Field(ge=1, le=MOST_ALIKE)] = 1
    made_on: Day | None = None
    expires_on: Day | None = None
    net_kg: Kilograms | None = None
    measured: Literal["dip", "skin"] = "dip"
    liquid_c: Celsius | None = None
    looks: LooksIn = LooksIn()
    gtin: Annotated[str, Field(min_length=8, max_length=14)] | None = None
    label: Annotated[str, Field(min_length=1, max_length=LONGEST)] | None = None
    note: Note | None = None


def delivery_of(tx: Tx, body: DeliveryIn) -> Delivery:
    """Put a delivery in the operations' form, its place resolved.

    Raises
    ------
    Invalid
        The place is not known.
    """
    return Delivery(
        id=body.id,
        product=body.product,
        lot=body.lot,
        place=place_named(tx, reference=body.place).id,
        at=body.at,
        count=body.count,
        made_on=body.made_on,
        expires_on=body.expires_on,
        net_kg=body.net_kg,
        measured=body.measured,
        liquid_c=body.liquid_c,
        looks=Looks(
            bulge=body.looks.bulge,
            solids=body.looks.solids,
            ring=body.looks.ring,
            damage=body.looks.damage,
        ),
        gtin=body.gtin,
        label=body.label,
        note=body.note,
    )
