"""What a drum's liquid has been through, as its page shows it: names and sentences."""

from drumkeep.domain.conditions import was_cold
from drumkeep.domain.content import percent, share_words
from drumkeep.domain.liquid_age import Age, age_of
from drumkeep.domain.liquid_agent import AgentLoss, agent_loss
from drumkeep.domain.liquid_state import states_from_bytes
from drumkeep.domain.products import Product
from drumkeep.storage.drums import StockRow
from drumkeep.storage.estimates import LotMark
from drumkeep.web.formats import Formats

Facts = tuple[tuple[str, str], ...]

_LEAST_DAYS = 0.5
"""By so much must heat have shortened a life to be told."""


def content_facts(
    row: StockRow, *, product: Product, lot_mark: LotMark | None, formats: Formats
) -> Facts:
    """Return the past of what is in a drum, in the viewer's units.

    Parameters
    ----------
    row, product
        The drum as stored, and its product.
    lot_mark
        Cold that any drum of its lot went through; None where none did.
    formats
        The reader's.
    """
    facts: list[tuple[str, str]] = []
    if row.estimate is not None:
        record = states_from_bytes([row.estimate.state])
        mark = was_cold(record, product=product)
        if mark is not None:
            facts.append(
                ("Was cold", _cold_words(mark, record["degree_hours"][0], product, formats))
            )
    if lot_mark is not None:
        facts.append(("Its lot", _lot_words(lot_mark, formats)))
    if row.estimate is not None:
        facts += _age_facts(age_of(record, product=product, step=row.estimate.step), formats)
        agent = agent_loss(record, product=product)
        if agent is not None:
            facts.append(("Blowing agent", _agent_words(agent, product, formats)))
    return tuple(facts)


def _cold_words(
    mark: tuple[float, float], degree_hours: float, product: Product, formats: Formats
) -> str:
    coldest, hours = mark
    limit = formats.temp(product.limits.seed_c)
    return (
        f"down to {formats.temp(coldest)}, {hours:.1f} h under {limit} in all, "
        f"{formats.difference(degree_hours)} × h. This mark stays. It is a rule of thumb: how long "
        "iso must be cold to seed is published nowhere."
    )


def _lot_words(mark: LotMark, formats: Formats) -> str:
    drums = "1 drum" if mark.drums == 1 else f"{mark.drums} drums"
    return (
        f"{drums} of it went cold, down to {formats.temp(mark.min_c)}, for up to "
        f"{mark.hours:.1f} h. This mark stays."
    )


def _age_facts(age: Age, formats: Formats) -> list[tuple[str, str]]:
    reference = formats.temp(age.reference_c)
    words = f"{age.days:.0f} days; as old as after {age.equivalent_days:.0f} days at {reference}. "
    if age.mkt_c is None:
        words += f"No temperature is on record: all of it counts at {reference}."
    else:
        words += (
            f"Mean kinetic temperature {formats.temp(age.mkt_c)} over the {age.counted_days:.1f} "
            f"days on record; time before counts at {reference}."
        )
    facts = [("Age", words)]
    shorter = (age.expires_at - age.ends_at).total_seconds() / 86_400.0
    if shorter >= _LEAST_DAYS:
        ends, dated = formats.date(age.ends_at), formats.date(age.expires_at)
        facts.append(("Shelf life", f"heat ends it {ends} instead of {dated}, computed."))
    return facts


def _agent_words(agent: AgentLoss, product: Product, formats: Formats) -> str:
    origin = product.origin("agent_loss_allowance")
    return (
        f"{share_words(agent)} of {formats.mass(agent.whole_kg)} is gone, computed from openings, "
        f"venting, mixing and what was taken out; {percent(agent.allowance)} % is allowed "
        f"({origin})."
    )
