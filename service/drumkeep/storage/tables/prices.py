"""What lots and products cost, as said over time."""

from datetime import datetime

from sqlmodel import Field, SQLModel

from drumkeep.storage.keys import APPEND_ONLY


class Price(SQLModel, table=True):
    """From ``at`` on a product, or one lot of it, costs so much ``per`` kg, lb or full drum.

    The last one said holds; ``amount`` None takes back what was said before. The currency is the
    company's (``DRUMKEEP_CURRENCY``).
    """

    __table_args__ = {"info": {APPEND_ONLY: True}}

    id: int = Field(default=None, primary_key=True)
    product_id: int = Field(foreign_key="product.id", index=True)
    lot_id: int | None = Field(default=None, foreign_key="lot.id", index=True)
    amount: float | None = None
    per: str = Field(max_length=4)
    at: datetime
    account_id: int | None = Field(default=None, foreign_key="account.id")
    by: str = Field(max_length=120)
