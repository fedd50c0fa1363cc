"""What was subscribed to besides, as the broker remembers it with our session."""

from sqlmodel import Field, SQLModel


class Subscription(SQLModel, table=True):
    """A filter of topics that a session at the broker may hold, by the name of our client."""

    client_id: str = Field(max_length=120, primary_key=True)
    topic: str = Field(max_length=400, primary_key=True)
