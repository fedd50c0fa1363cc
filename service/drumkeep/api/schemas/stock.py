"""Stock and what it costs, as answered; prices as sent."""

from drumkeep.asgi.fields import Answer, Body, Line, MomentOut, Number


class SetsOut(Answer):
    """Sets, counted by drum: ``sure`` ones, and the most there may be.

    They differ where a product does not say to which system it belongs.
    """

    sure: int
    at_most: int


class MoneyOut(Answer):
    """A sum over drums in ``currency``; ``unpriced`` drums have no price and are not in it."""

    amount: float
    currency: str
    unpriced: int


class StockLineOut(Answer):
    """Present drums of one lot in one place, counted.

    ``ready_by`` will be ready by ``by`` (tomorrow 06:00 of the site) where they stand;
    ``ready_by_if_moved`` more would be, taken into their warm room now, ``ready_by_if_mixed`` more
    once they are mixed; ``may_leave`` are ready now and perhaps not then, ``unknown`` cannot be
    said: none of these is in ``ready_by``.
    """

    site: str
    place: str
    side: str
    product: str
    system: str | None
    lot: str
    count: int
    net_kg: float
    ready_now: int
    by: MomentOut
    ready_by: int
    ready_by_if_moved: int
    ready_by_if_mixed: int
    may_leave: int
    unknown: int
    on_hold: int
    partial: int
    expired: int
    expiring: int
    ends_first: MomentOut | None
    cost: float | None


class NextDrumOut(Answer):
    """A drum whose turn is next: the first to end its shelf life, of equals the partial."""

    tag: str
    side: str
    product: str
    lot: str
    place: str
    net_kg: float
    readiness: str
    ends: MomentOut | None


class StockOut(Answer):
    """All that is in stock; of drums as last computed at ``computed_at``."""

    computed_at: MomentOut | None
    expiring_days: int
    count: int
    ready_now: int
    ready_by: int
    ready_by_if_moved: int
    ready_by_if_mixed: int
    may_leave: int
    unknown: int
    on_hold: int
    partial: int
    expired: int
    expiring: int
    sets_now: SetsOut
    sets_by: SetsOut
    sets_not_on_hold: SetsOut
    cost: MoneyOut
    cost_expired: MoneyOut
    lines: list[StockLineOut]
    next: list[NextDrumOut]


class LossOut(Answer):
    """One drum whose liquid was lost."""

    tag: str
    product: str
    lot: str
    at: MomentOut
    reason: str
    net_kg: float
    cost: float | None
    still_here: bool


class MonthOut(Answer):
    """What was lost in a month: thrown away, and expired but still here."""

    month: str
    spoiled: MoneyOut
    expired: MoneyOut
    losses: list[LossOut]


class PriceIn(Body):
    """What a product, or one lot of it, costs per kg, lb or full drum; null: not known."""

    product: Line
    lot: Line | None = None
    amount: Number | None
    per: Line = "kg"


class PriceOut(Answer):
    """A price in force."""

    product: str
    lot: str | None
    amount: float | None
    per: str
    currency: str
    at: MomentOut
    by: str
