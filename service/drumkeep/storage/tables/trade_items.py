"""What suppliers' trade item numbers stand for here."""

from datetime import datetime

from sqlmodel import Field, SQLModel


class TradeItem(SQLModel, table=True):
    """The product that a GTIN, 14 digits, was said to be, by whom and when."""

    __tablename__ = "trade_item"

    gtin: str = Field(primary_key=True, max_length=14)
    product_id: int = Field(foreign_key="product.id", index=True)
    at: datetime
    account_id: int | None = Field(default=None, foreign_key="account.id")
    by: str = Field(max_length=120)
