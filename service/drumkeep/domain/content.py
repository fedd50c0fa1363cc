"""What a drum's liquid has been through beside heat and cold now: age, agent, whose liquid it is.

Sentences carry marks (``domain.wording``).
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from drumkeep.domain.liquid_age import Age
from drumkeep.domain.liquid_agent import AgentLoss
from drumkeep.domain.wording import temperature

CAUTION_MIXED: Final = (
    "Liquid of more than one lot is in it: the oldest, and the worst that any of it went through, "
    "counts for all."
)


@dataclass(frozen=True)
class Content:
    """The past of what is in a drum; None or False where there is nothing to say.

    ``redissolved`` tells that solids seen were heated and mixed long enough for a look.
    """

    age: Age | None = None
    agent: AgentLoss | None = None
    redissolved: bool = False
    mixed_lots: bool = False


def spent_words(content: Content, *, expires_at: datetime, now: datetime) -> str | None:
    """Say that the shelf life is over, by its date or by heat; None while it is not."""
    age = content.age
    if now >= expires_at:
        return f"The lot expired on {expires_at:%Y-%m-%d}."
    if age is not None and now >= age.ends_at:
        return (
            f"Heat has used up its shelf life of {age.life_days:.0f} days: it is as old as after "
            f"{age.equivalent_days:.0f} days at {temperature(age.reference_c)}."
        )
    return None


def share_words(agent: AgentLoss) -> str:
    """Return the share of agent that is gone, with its range: ``2.1 % (0.8 to 4.0 %)``."""
    low, high = percent(agent.least), percent(agent.most)
    return f"{percent(agent.likely)} % ({low} to {high} %)"


def percent(share: float) -> str:
    """Write a share in percent, to a tenth: ``0.4``."""
    return f"{100.0 * share:.1f}"


def agent_words(agent: AgentLoss) -> str:
    """Say why a drum of resin is held for its agent."""
    return (
        f"About {share_words(agent)} of its blowing agent is gone, computed from how it was opened "
        f"and emptied; {percent(agent.allowance)} % is allowed."
    )


AGENT_ADVICE: Final = (
    "Spray a test and look at rise and density, or ask the supplier; a manager may then release it."
)
