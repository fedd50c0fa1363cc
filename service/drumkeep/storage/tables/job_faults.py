"""Jobs that fail."""

from datetime import datetime

from sqlmodel import Field, SQLModel


class JobFault(SQLModel, table=True):
    """A job whose last run failed, and since when every run has; gone once one ends well."""

    __tablename__ = "job_fault"

    job: str = Field(max_length=40, primary_key=True)
    since: datetime
