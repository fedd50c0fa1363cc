"""Who may: accounts of people, their signed-in sessions, and tokens of integrations."""

from datetime import datetime

from sqlalchemy import UniqueConstraint, false
from sqlmodel import Field, SQLModel


class Account(SQLModel, table=True):
    """A person; ``language`` is an ISO 639-1 code, or empty for what the browser asks for.

    ``temporary``: the password is one that somebody else set, good for choosing one's own only.
    """

    id: int = Field(default=None, primary_key=True)
    name: str = Field(max_length=64, unique=True)
    display_name: str = Field(max_length=120)
    role: str = Field(max_length=16)
    password_hash: str = Field(max_length=255)
    temporary: bool = Field(default=False, sa_column_kwargs={"server_default": false()})
    units: str = Field(default="us", max_length=4)
    language: str = Field(default="", max_length=8, sa_column_kwargs={"server_default": ""})
    disabled_at: datetime | None = None
    created_at: datetime


class SignedIn(SQLModel, table=True):
    """One sign-in of one person on one device; ``id`` is what the signed cookie carries."""

    __tablename__ = "session"

    id: str = Field(max_length=64, primary_key=True)
    account_id: int = Field(foreign_key="account.id", index=True)
    created_at: datetime
    expires_at: datetime
    ended_at: datetime | None = None
    user_agent: str = Field(default="", max_length=200)
    address: str = Field(default="", max_length=64, sa_column_kwargs={"server_default": ""})


class PhonePass(SQLModel, table=True):
    """Signs one phone in as one person, once and soon; only the SHA-256 of its secret is kept."""

    __tablename__ = "phone_pass"

    id: int = Field(default=None, primary_key=True)
    hash: str = Field(max_length=64, unique=True)
    account_id: int = Field(foreign_key="account.id", index=True)
    created_by: int | None = Field(default=None, foreign_key="account.id")
    created_at: datetime
    expires_at: datetime
    used_at: datetime | None = None


class Token(SQLModel, table=True):
    """A bearer token of one integration; only the SHA-256 of its secret is kept.

    ``account_id``: whose own it is, and as whom it acts. ``scopes``: what it is good for, words
    with spaces between; None: all that its role may.
    """

    id: int = Field(default=None, primary_key=True)
    name: str = Field(max_length=120, unique=True)
    role: str = Field(max_length=16)
    hash: str = Field(max_length=64, unique=True)
    created_by: int | None = Field(default=None, foreign_key="account.id")
    created_at: datetime
    expires_at: datetime | None = None
    revoked_at: datetime | None = None
    account_id: int | None = Field(default=None, foreign_key="account.id", index=True)
    scopes: str | None = Field(default=None, max_length=80)
    last_used_at: datetime | None = None


class ExternalIdentity(SQLModel, table=True):
    """Somebody at an OpenID provider, known by its subject, and the account that this opens."""

    __tablename__ = "external_identity"
    __table_args__ = (UniqueConstraint("issuer", "subject"),)

    id: int = Field(default=None, primary_key=True)
    account_id: int = Field(foreign_key="account.id", index=True)
    issuer: str = Field(max_length=300)
    subject: str = Field(max_length=255)
    email: str | None = Field(default=None, max_length=254)
    created_at: datetime
    last_used_at: datetime


class SignInAttempt(SQLModel, table=True):
    """Somebody who was sent to the OpenID provider and has not come back.

    ``browser`` is the SHA-256 of what its cookie holds; ``account_id`` who wants to be linked.
    """

    __tablename__ = "sign_in_attempt"

    state: str = Field(max_length=64, primary_key=True)
    browser: str = Field(max_length=64)
    nonce: str = Field(max_length=64)
    verifier: str = Field(max_length=128)
    next: str = Field(max_length=400)
    account_id: int | None = Field(default=None, foreign_key="account.id")
    expires_at: datetime = Field(index=True)
