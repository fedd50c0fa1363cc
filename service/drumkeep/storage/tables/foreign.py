"""How messages of devices that do not speak SenML are read."""

from sqlmodel import Field, SQLModel


class ForeignMapping(SQLModel, table=True):
    """One kind of reading in the messages of some topics; JMESPath expressions say where it is."""

    __tablename__ = "foreign_mapping"

    id: int = Field(default=None, primary_key=True)
    code: str = Field(max_length=40, unique=True)
    gateway_id: int = Field(foreign_key="gateway.id", index=True)
    topic: str = Field(max_length=400)
    items: str = Field(max_length=400)
    name: str = Field(max_length=400)
    value: str = Field(max_length=400)
    unit: str = Field(max_length=400)
    time: str | None = Field(default=None, max_length=400)
