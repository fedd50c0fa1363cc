"""What gateways sign in with at the broker."""

from datetime import datetime

from sqlmodel import Field, SQLModel


class GatewayCredential(SQLModel, table=True):
    """A gateway's one credential: ``hash`` as the broker keeps it; a new one takes its place."""

    __tablename__ = "gateway_credential"

    gateway_id: int = Field(foreign_key="gateway.id", primary_key=True)
    hash: str = Field(max_length=200)
    made_at: datetime
    made_by: str | None = Field(default=None, max_length=120)
    revoked_at: datetime | None = None
