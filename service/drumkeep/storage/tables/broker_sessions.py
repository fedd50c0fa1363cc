"""Which of our sessions at the broker takes which sites' messages."""

from sqlmodel import Field, SQLModel


class BrokerSession(SQLModel, table=True):
    """A session that may exist at the broker, and so hold messages for us.

    ``asked`` is, of session 0, how often it has asked the others whether they take what is theirs;
    ``answered`` is up to which time each has.
    """

    __tablename__ = "broker_session"

    slot: int = Field(primary_key=True)
    asked: int = Field(default=0)
    answered: int = Field(default=0)


class SessionSite(SQLModel, table=True):
    """A session takes the messages of a site: the broker has said so.

    ``leaving``: it is about to give them up, and nobody counts on it any more.
    """

    __tablename__ = "session_site"

    slot: int = Field(primary_key=True)
    site: str = Field(max_length=80, primary_key=True)
    leaving: bool = Field(default=False)
