"""What a drum's liquid has been through, as the API answers it."""

from typing import Any

from drumkeep.api.schemas.drums import AgentOut, AgeOut, WasColdOut
from drumkeep.domain.conditions import was_cold
from drumkeep.domain.liquid_age import Age, age_of
from drumkeep.domain.liquid_agent import AgentLoss, agent_loss
from drumkeep.domain.liquid_state import states_from_bytes
from drumkeep.domain.products import Product, Side
from drumkeep.storage.tables.estimates import Estimate


def content_out(estimate: Estimate | None, *, product: Product) -> dict[str, Any]:
    """Return the fields of a drum's answer that tell its liquid's past."""
    told: dict[str, Any] = dict.fromkeys(("age", "agent", "was_cold", "degree_hours"))
    if estimate is None:
        return {**told, "mixed_lots": False}
    record = states_from_bytes([estimate.state])
    agent, mark = agent_loss(record, product=product), was_cold(record, product=product)
    return {
        "age": _age_out(age_of(record, product=product, step=estimate.step)),
        "agent": None if agent is None else _agent_out(agent),
        "mixed_lots": bool(record["mixed_lots"][0]),
        "was_cold": None if mark is None else WasColdOut(min_c=mark[0], hours=mark[1]),
        "degree_hours": float(record["degree_hours"][0]) if product.side is Side.ISO else None,
    }


def _age_out(age: Age) -> AgeOut:
    return AgeOut(
        made_at=age.made_at,
        days=age.days,
        equivalent_days=age.equivalent_days,
        mkt_c=age.mkt_c,
        counted_days=age.counted_days,
        reference_c=age.reference_c,
        life_days=age.life_days,
        expires_at=age.expires_at,
        ends_at=age.ends_at,
    )


def _agent_out(agent: AgentLoss) -> AgentOut:
    return AgentOut(
        whole_kg=agent.whole_kg,
        lost_kg=agent.likely * agent.whole_kg,
        lost_low_kg=agent.least * agent.whole_kg,
        lost_high_kg=agent.most * agent.whole_kg,
        lost_share=agent.likely,
        allowance=agent.allowance,
        suspected=agent.suspected,
    )
