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
    return formats.words(
        "down to {coldest}, {hours} h under {limit} in all, by {amount} on average. This mark "
        "stays. It is a rule of thumb: how long iso must be cold to seed is published nowhere.",
        coldest=formats.temp(coldest),
        hours=f"{hours:.1f}",
        limit=formats.temp(product.limits.seed_c),
        amount=formats.difference(degree_hours / hours),
    )


def _lot_words(mark: LotMark, formats: Formats) -> str:
    one = "1 drum of it went cold, down to {coldest}, for up to {hours} h. This mark stays."
    many = (
        "{number} drums of it went cold, down to {coldest}, for up to {hours} h. This mark stays."
    )
    return formats.words(
        one if mark.drums == 1 else many,
        number=str(mark.drums),
        coldest=formats.temp(mark.min_c),
        hours=f"{mark.hours:.1f}",
    )


def _age_facts(age: Age, formats: Formats) -> list[tuple[str, str]]:
    words, reference = formats.words, formats.temp(age.reference_c)
    old = words(
        "{days} days; as old as after {equivalent} days at {temp}.",
        days=f"{age.days:.0f}",
        equivalent=f"{age.equivalent_days:.0f}",
        temp=reference,
    )
    if age.mkt_c is None:
        counted = words("No temperature is on record: all of it counts at {temp}.", temp=reference)
    else:
        counted = words(
            "Mean kinetic temperature {mkt} over the {days} days on record; time before counts at "
            "{temp}.",
            mkt=formats.temp(age.mkt_c),
            days=f"{age.counted_days:.1f}",
            temp=reference,
        )
    facts = [("Age", f"{old} {counted}")]
    shorter = (age.expires_at - age.ends_at).total_seconds() / 86_400.0
    if shorter >= _LEAST_DAYS:
        ends, dated = formats.date(age.ends_at), formats.date(age.expires_at)
        sooner = words("heat ends it {ends} instead of {dated}, computed.", ends=ends, dated=dated)
        facts.append(("Shelf life", sooner))
    return facts


def _agent_words(agent: AgentLoss, product: Product, formats: Formats) -> str:
    return formats.words(
        "{share} of {mass} is gone, computed from openings, venting, mixing and what was taken "
        "out; {allowed} % is allowed ({origin}).",
        share=formats.tongue.say(share_words(agent)),
        mass=formats.mass(agent.whole_kg),
        allowed=percent(agent.allowance),
        origin=formats.tongue.say(product.origin("agent_loss_allowance")),
    )
