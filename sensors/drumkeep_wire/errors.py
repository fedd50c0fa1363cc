"""What a payload or a topic can have wrong with it."""


class WireError(ValueError):
    """A payload or topic that is not what the contract says.

    Attributes
    ----------
    field
        Where it is: ``3.v`` is label ``v`` of the record with index 3; empty for the whole payload.
    value
        What was found there, as it came; text is cut at 200 characters.
    problem
        What is wrong with it, as a clause.
    mend
        What to send instead, as a sentence.
    index
        Position of the record in the pack, from 0; None when it is not about one record.
    """

    def __init__(
        self, field: str, value: object, problem: str, mend: str, *, index: int | None = None
    ) -> None:
        if isinstance(value, str) and len(value) > _LONGEST:
            value = value[:_LONGEST] + "…"
        named = f"{field} {value!r}" if field else "payload"
        super().__init__(f"{named} {problem}. {mend}")
        self.field = field
        self.value = value
        self.problem = problem
        self.mend = mend
        self.index = index

    @property
    def label(self) -> str:
        """The field without the record's index: ``v``."""
        return self.field if self.index is None else self.field.partition(".")[2]


_LONGEST = 200
